//! A template judged for one row of parameter values after another: only what depends on the
//! parameters is worked out again.

use rustc_hash::FxHashSet;

use super::prove::{Parameter, parameters};
use super::residual::{Engine, Residual};
use crate::expression::{Cone, ConeLeaf, LeafId, Op, Refiner, Reg, Val};
use crate::quantity::TruthSet;

/// What is shared by all rows.
pub struct RowJudge<'a> {
    /// The template.
    pub residual: &'a Residual,
    /// Its parameters.
    pub parameters: Vec<Parameter>,
    /// Operations that depend on a parameter, and the parameters' leaves.
    cone: Cone,
    /// Verdicts that depend on a parameter.
    pub varying: Vec<usize>,
    /// Verdicts that do not, and are not met.
    pub fixed: Vec<(usize, TruthSet)>,
}

impl<'a> RowJudge<'a> {
    /// Prepares a template.
    #[must_use]
    pub fn new(residual: &'a Residual) -> Self {
        let parameters = parameters(residual);
        let program = &residual.program;
        let mut depends = vec![false; program.ops.len()];
        for p in &parameters {
            depends[residual.leaf(p.leaf).reg.ix()] = true;
        }
        for i in 0..program.ops.len() {
            let mut any = depends[i];
            program.ops[i].operands(&program.args, |r| any |= depends[r.ix()]);
            depends[i] = any;
        }
        let mut wanted = vec![false; program.ops.len()];
        let (mut varying, mut fixed) = (Vec::new(), Vec::new());
        let mut engine = residual.engine();
        for (v, verdict) in residual.verdicts.iter().enumerate() {
            if depends[verdict.root.ix()] {
                varying.push(v);
                wanted[verdict.root.ix()] = true;
            } else {
                let truth = engine.truth(v, &[]);
                if truth != TruthSet::T {
                    fixed.push((v, truth));
                }
            }
        }
        for i in (0..program.ops.len()).rev() {
            if wanted[i] {
                program.ops[i].operands(&program.args, |r| wanted[r.ix()] |= depends[r.ix()]);
            }
        }
        let regs = (0..).map(Reg).zip(&program.ops);
        let run = regs.filter(|(r, op)| wanted[r.ix()] && !matches!(op, Op::Leaf(_)));
        let ops = run.map(|(r, _)| r).collect();
        let leaves = parameters
            .iter()
            .map(|p| ConeLeaf {
                id: p.leaf,
                reg: residual.leaf(p.leaf).reg,
            })
            .collect();
        let root = varying
            .first()
            .map_or(Reg(0), |v| residual.verdicts[*v].root);
        Self {
            residual,
            parameters,
            cone: Cone { root, ops, leaves },
            varying,
            fixed,
        }
    }

    /// A reader for one thread.
    #[must_use]
    pub fn reader(&self) -> RowReader<'_> {
        RowReader {
            judge: self,
            refiner: Refiner::new(&self.residual.program, &self.residual.ruleset.data),
            engine: self.residual.engine(),
            taken: FxHashSet::default(),
        }
    }
}

/// Judges rows, one after another.
pub struct RowReader<'a> {
    judge: &'a RowJudge<'a>,
    refiner: Refiner<'a>,
    engine: Engine<'a>,
    /// Values of parameters on which no verdict rests, by name, that were found to be such.
    pub taken: FxHashSet<(String, String)>,
}

impl RowReader<'_> {
    /// The verdicts that a row does not meet, of those that depend on a parameter. `values` has
    /// one set for each parameter.
    pub fn judge(&mut self, values: &[Val]) -> Vec<(usize, TruthSet)> {
        let judge = self.judge;
        self.refiner.run(&judge.cone, values);
        let mut out = Vec::new();
        let mut open = Vec::new();
        for v in &judge.varying {
            let root = judge.residual.verdicts[*v].root;
            match self.refiner.val(root).as_truth() {
                TruthSet::T => {}
                TruthSet::F => out.push((*v, TruthSet::F)),
                _ => open.push(*v),
            }
        }
        if !open.is_empty() {
            let leaves = judge.parameters.iter().map(|p| p.leaf);
            let with: Vec<(LeafId, Val)> = leaves.zip(values.iter().copied()).collect();
            for v in open {
                let truth = self.engine.truth(v, &with);
                if truth != TruthSet::T {
                    out.push((v, truth));
                }
            }
            out.sort_unstable_by_key(|(v, _)| *v);
        }
        out
    }
}
