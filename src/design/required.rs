//! What is asked of things that are yet to be bought, and what is left of it once they are there.

use crate::design::model::{Design, ObjectId, Possible};
use crate::design::tree::Origin;

impl Design {
    /// The design as it counts once things are fitted: what was only asked of them is not known
    /// of them, nor whether a part that was asked for is there. None, if nothing is asked.
    #[must_use]
    pub fn once_fitted(&self) -> Option<Self> {
        let asked = |o: &super::model::Object| {
            let mut facts = o.facts.iter().flatten();
            facts.any(|w| w.origin == Some(Origin::Required))
        };
        if !self.objects.iter().any(asked) {
            return None;
        }
        let mut fitted = self.clone();
        for id in self.ids() {
            let facts = fitted.objects[id.0 as usize].facts.iter_mut().flatten();
            for written in facts.filter(|w| w.origin == Some(Origin::Required)) {
                written.value = self.not_known(id, &written.value);
                written.origin = None;
            }
        }
        Some(fitted)
    }

    /// What is known of a fact that was asked for: of a part only that it may be there, with what
    /// is said of it one by one.
    fn not_known(&self, of: ObjectId, value: &Possible) -> Possible {
        let is_part = |id: ObjectId| self.object(id).owner == Some(of);
        match value {
            Possible::Object(id) if is_part(*id) => {
                Possible::OneOf(vec![value.clone(), Possible::Absent])
            }
            Possible::List(_) | Possible::OneOf(_) => value.clone(),
            _ => Possible::Unknown,
        }
    }
}
