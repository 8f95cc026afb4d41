//! `amperule format`: lays designs out; never changes what they mean.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::Args;

use crate::design::format::format;
use crate::session::Project;
use crate::source::{Problem, SourceFile, Sources};

use super::{Output, exit};

#[derive(Debug, Args)]
pub(super) struct Format {
    /// Design files, or folders that hold some
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    /// Only says which files are not laid out so; exit code 1 if there are any
    #[arg(long)]
    check: bool,
}

impl Format {
    pub(super) fn run(&self, out: &mut Output) -> u8 {
        let project = Project::on_disk(Vec::new());
        let (files, problems) = project.designs(&self.paths);
        let problems: Vec<Problem> = problems.into_iter().map(|(_, p)| p).collect();
        let mut code = exit::CLEAN;
        if !problems.is_empty() {
            out.problems(&problems, &Sources::default());
            code = exit::FAILED;
        }
        for path in files {
            let text = match project.text(&path) {
                Ok(t) => t,
                Err(problem) => {
                    out.problems(&[problem], &Sources::default());
                    code = exit::FAILED;
                    continue;
                }
            };
            match format(&text) {
                Err(problems) => {
                    let mut sources = Sources::default();
                    sources.add(SourceFile::new(path.display().to_string(), text));
                    out.problems(&problems, &sources);
                    code = exit::FAILED;
                }
                Ok(new) if new == text => {}
                Ok(_) if self.check => {
                    out.line(&format!("{} is laid out otherwise", path.display()));
                    code = code.max(exit::BREACH);
                }
                Ok(new) => match write_whole(&path, &new) {
                    Ok(()) => out.line(&format!("{} laid out", path.display())),
                    Err(e) => {
                        let p = Problem::error(
                            "unwritable",
                            format!("`{}` cannot be written: {e}", path.display()),
                        );
                        out.problems(&[p], &Sources::default());
                        code = exit::FAILED;
                    }
                },
            }
        }
        code
    }
}

/// Writes beside the file first, so that a failure leaves the old one whole.
pub(super) fn write_whole(path: &Path, text: &str) -> std::io::Result<()> {
    let mut beside = path.as_os_str().to_owned();
    beside.push(".new");
    let beside = PathBuf::from(beside);
    let write = || -> std::io::Result<()> {
        let mut file = fs::File::create(&beside)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        if let Ok(about) = fs::metadata(path) {
            fs::set_permissions(&beside, about.permissions())?;
        }
        fs::rename(&beside, path)
    };
    let done = write();
    if done.is_err() {
        // What is left over is ours to take away; the first error is the one to tell.
        let _ = fs::remove_file(&beside);
    }
    done
}
