//! The one way in which commands write files: whole or not at all, and nothing of another's lost.

use std::collections::BTreeSet;
use std::fs::{self, File, TryLockError};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use tempfile::{Builder, NamedTempFile};

use crate::source::Problem;

/// How often it is tried to have a folder alone, and the pause between.
const TRIES: u32 = 500;
const PAUSE: Duration = Duration::from_millis(20);

/// What may stand where a file is written.
#[derive(Clone, Copy)]
pub(super) enum Over<'a> {
    /// Nothing: the file is a new one.
    Nothing,
    /// The text that was read there: what others have written since is not lost.
    Text(&'a str),
    /// Any file: the place was named for output.
    Anything,
}

/// A file to be written.
pub(super) struct Writing<'a> {
    pub(super) path: &'a Path,
    pub(super) over: Over<'a>,
    pub(super) text: &'a str,
}

/// Writes some files, each whole and through links to what they lead to, with the mode that was
/// there. Each is made beside its place under a name of its own first, so that a fault before the
/// last step leaves every file as it was and nothing behind.
pub(super) fn write(all: &[Writing<'_>]) -> Result<(), Problem> {
    let not_written = |w: &Writing<'_>, e: &io::Error| {
        let path = w.path.display();
        Problem::error("not-written", format!("`{path}` was not written: {e}"))
    };
    let mut ready = Vec::new();
    let mut folders = BTreeSet::new();
    for w in all {
        let made = place(w).and_then(|place| {
            let made = beside(&place, w.text)?;
            folders.insert(folder(&place).to_path_buf());
            Ok((place, made))
        });
        ready.push(made.map_err(|e| not_written(w, &e))?);
    }
    // From the last look at a file until it is replaced nobody else of ours may replace it.
    let mut alone = Vec::new();
    for folder in &folders {
        alone.push(hold(folder).map_err(|e| not_written(&all[0], &e))?);
    }
    for (w, (place, _)) in all.iter().zip(&ready) {
        unchanged(w, place).map_err(|e| not_written(w, &e))?;
    }
    let mut done: Vec<String> = Vec::new();
    for (w, (place, made)) in all.iter().zip(ready) {
        let put = match w.over {
            Over::Nothing => made.persist_noclobber(&place),
            _ => made.persist(&place),
        };
        if let Err(e) = put {
            let problem = not_written(w, &told(e.error));
            return Err(if done.is_empty() {
                problem
            } else {
                problem.help(format!("these were written before: {}", done.join(", ")))
            });
        }
        done.push(format!("`{}`", w.path.display()));
    }
    Ok(())
}

/// Writes one file.
pub(super) fn put(path: &Path, over: Over<'_>, text: &str) -> Result<(), Problem> {
    write(&[Writing { path, over, text }])
}

/// The file that a path leads to.
fn place(w: &Writing<'_>) -> io::Result<PathBuf> {
    let there = w.path.symlink_metadata();
    match (w.over, &there) {
        (Over::Nothing, Ok(_)) => return Err(told(io::ErrorKind::AlreadyExists.into())),
        (Over::Nothing, Err(_)) => return Ok(w.path.to_path_buf()),
        (Over::Anything, Err(e)) if e.kind() == io::ErrorKind::NotFound => {
            return Ok(w.path.to_path_buf());
        }
        _ => {}
    }
    let link = there.is_ok_and(|t| t.is_symlink());
    let place = fs::canonicalize(w.path).map_err(|e| match e.kind() {
        io::ErrorKind::NotFound if link => io::Error::other("it is a link that leads nowhere"),
        _ => e,
    })?;
    let about = fs::metadata(&place)?;
    if !about.is_file() {
        return Err(io::Error::other("it is not a file"));
    }
    if about.permissions().readonly() {
        return Err(io::Error::other("it is write-protected"));
    }
    Ok(place)
}

fn folder(place: &Path) -> &Path {
    match place.parent() {
        Some(p) if p != Path::new("") => p,
        _ => Path::new("."),
    }
}

/// A file with the text under a name of its own in the same folder; it goes when it is dropped.
fn beside(place: &Path, text: &str) -> io::Result<NamedTempFile> {
    let mut builder = Builder::new();
    builder.prefix(".amperule-").suffix(".new");
    let old = fs::metadata(place).ok();
    #[cfg(unix)]
    if old.is_none() {
        // As any new file: what the user's mask leaves of this.
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    let mut made = builder
        .tempfile_in(folder(place))
        // Without the name of the file under way, which says nothing to its reader.
        .map_err(|e| io::Error::from(e.kind()))?;
    made.as_file_mut().write_all(text.as_bytes())?;
    if let Some(old) = old {
        #[cfg(unix)]
        {
            use std::os::unix::fs::{MetadataExt, fchown};
            let now = made.as_file().metadata()?;
            if (now.uid(), now.gid()) != (old.uid(), old.gid()) {
                // Only some may give a file away; for others it is theirs from now on.
                let _ = fchown(made.as_file(), Some(old.uid()), Some(old.gid()));
            }
        }
        made.as_file().set_permissions(old.permissions())?;
    }
    made.as_file().sync_all()?;
    Ok(made)
}

fn told(e: io::Error) -> io::Error {
    match e.kind() {
        io::ErrorKind::AlreadyExists => io::Error::other("it is there already; name another file"),
        _ => e,
    }
}

/// Waits until no other run of the program is replacing files of a folder. Where folders cannot
/// be locked there is only the look at the old text.
fn hold(folder: &Path) -> io::Result<Option<File>> {
    let Ok(held) = File::open(folder) else {
        return Ok(None);
    };
    for _ in 0..TRIES {
        match held.try_lock() {
            Ok(()) => return Ok(Some(held)),
            Err(TryLockError::WouldBlock) => thread::sleep(PAUSE),
            Err(TryLockError::Error(_)) => return Ok(None),
        }
    }
    Err(io::Error::other("another program holds its folder"))
}

fn unchanged(w: &Writing<'_>, place: &Path) -> io::Result<()> {
    let Over::Text(before) = w.over else {
        return Ok(());
    };
    if fs::read(place)? == before.as_bytes() {
        Ok(())
    } else {
        Err(io::Error::other(
            "another program has changed it meanwhile; run the command again",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each of many writers adds to what it read; one that came too late reads again.
    #[test]
    fn what_others_write_at_the_same_time_is_not_lost() {
        const WRITERS: usize = 6;
        const TIMES: usize = 15;
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("count.amp");
        fs::write(&path, "").expect("a file");
        let add = || {
            for _ in 0..TIMES {
                loop {
                    let before = fs::read_to_string(&path).expect("read");
                    let text = format!("{before}x");
                    let writing = Writing {
                        path: &path,
                        over: Over::Text(&before),
                        text: &text,
                    };
                    match write(&[writing]) {
                        Ok(()) => break,
                        Err(p) => assert!(p.message.contains("meanwhile"), "{}", p.message),
                    }
                }
            }
        };
        thread::scope(|s| {
            for _ in 0..WRITERS {
                s.spawn(add);
            }
        });
        let text = fs::read_to_string(&path).expect("read");
        assert_eq!(text.len(), WRITERS * TIMES);
        assert_eq!(fs::read_dir(dir.path()).expect("listed").count(), 1);
    }

    #[test]
    fn all_files_are_written_or_none() {
        let dir = tempfile::tempdir().expect("a folder");
        let (a, b) = (dir.path().join("a.amp"), dir.path().join("b.amp"));
        fs::write(&a, "a").expect("a file");
        fs::write(&b, "changed").expect("a file");
        let of = |path, before| Writing {
            path,
            over: Over::Text(before),
            text: "new",
        };
        let problem = write(&[of(&a, "a"), of(&b, "b")]).expect_err("b has changed");
        assert!(
            problem.message.contains("b.amp` was not written"),
            "{problem:?}"
        );
        assert_eq!(fs::read_to_string(&a).expect("read"), "a");
        assert_eq!(fs::read_dir(dir.path()).expect("listed").count(), 2);
        write(&[of(&a, "a"), of(&b, "changed")]).expect("both are as they were read");
        assert_eq!(fs::read_to_string(&b).expect("read"), "new");
    }
}
