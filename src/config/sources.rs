//! Where the text of the configuration comes from: the disk, or what was kept of the files in force.
//! Everything that is read is remembered.

use crate::in_force::KeptFile;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fs;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

/// The files of a configuration.
pub(super) struct Sources {
    /// Set if files are those that were kept, and the disk is not asked.
    kept: Option<BTreeMap<PathBuf, String>>,
    read: RefCell<BTreeMap<PathBuf, String>>,
}

impl Sources {
    /// The files as they lie on the disk.
    pub fn disk() -> Self {
        Self {
            kept: None,
            read: RefCell::default(),
        }
    }

    /// The files as they were when the configuration in force was read.
    pub fn kept(files: &[KeptFile]) -> Self {
        let files = files
            .iter()
            .map(|file| (PathBuf::from(&file.path), file.text.clone()));
        Self {
            kept: Some(files.collect()),
            read: RefCell::default(),
        }
    }

    /// The text of a file.
    pub fn read(&self, path: &Path) -> io::Result<String> {
        let text = match &self.kept {
            Some(kept) => {
                let text = kept.get(&absolute(path)).cloned();
                text.ok_or_else(|| io::Error::from(ErrorKind::NotFound))?
            }
            None => fs::read_to_string(path)?,
        };
        self.remember(path, &text);
        Ok(text)
    }

    /// The text of a file that another file names; a device or a pipe is none.
    pub fn read_named(&self, path: &Path) -> io::Result<String> {
        if self.kept.is_none() && !fs::metadata(path)?.is_file() {
            return Err(io::Error::other("it is no file"));
        }
        self.read(path)
    }

    /// Remembers a text that is at hand.
    pub fn remember(&self, path: &Path, text: &str) {
        let mut read = self.read.borrow_mut();
        read.insert(absolute(path), text.to_owned());
    }

    /// The one path of a file, whatever links lead to it.
    pub fn identity(&self, path: &Path) -> PathBuf {
        match self.kept {
            Some(_) => absolute(path),
            None => fs::canonicalize(path).unwrap_or_else(|_| absolute(path)),
        }
    }

    /// The files of a folder that end in `.toml`, in order.
    pub fn toml_files(&self, folder: &Path) -> io::Result<Vec<PathBuf>> {
        let mut files: Vec<PathBuf> = match &self.kept {
            Some(kept) => {
                let folder = absolute(folder);
                let within = |path: &&PathBuf| path.parent() == Some(&folder);
                kept.keys().filter(within).cloned().collect()
            }
            None => fs::read_dir(folder)?
                .filter_map(|entry| Some(entry.ok()?.path()))
                .collect(),
        };
        files.retain(|path| path.extension().is_some_and(|ending| ending == "toml"));
        files.sort();
        Ok(files)
    }

    /// The files that a pattern of `include` matches, in order; `folder` is what it starts from.
    ///
    /// # Errors
    /// What is wrong with the pattern, or a folder that cannot be read.
    pub fn matching(&self, folder: &Path, pattern: &str) -> Result<Vec<PathBuf>, String> {
        let whole = match Path::new(pattern).is_absolute() || folder.as_os_str().is_empty() {
            true => pattern.to_owned(),
            false => {
                let folder = glob::Pattern::escape(&folder.display().to_string());
                format!("{folder}/{pattern}")
            }
        };
        let wrong = |error: glob::PatternError| format!("is no pattern of paths ({error})");
        if let Some(kept) = &self.kept {
            let whole = absolute(Path::new(&whole));
            let pattern = glob::Pattern::new(&whole.display().to_string()).map_err(wrong)?;
            let options = glob::MatchOptions {
                require_literal_separator: true,
                ..glob::MatchOptions::default()
            };
            let matches = |path: &&PathBuf| pattern.matches_path_with(path, options);
            return Ok(kept.keys().filter(matches).cloned().collect());
        }
        let mut found = Vec::new();
        for path in glob::glob(&whole).map_err(wrong)? {
            let path = path.map_err(|error| {
                format!(
                    "cannot be followed: {}: {}",
                    error.path().display(),
                    error.error()
                )
            })?;
            if path.is_file() {
                found.push(path);
            }
        }
        Ok(found)
    }

    /// Everything that was read, and its digest, which another text is unlikely to share.
    pub fn finish(self) -> (Vec<KeptFile>, String) {
        let mut digest = DefaultHasher::new();
        let read = self.read.into_inner();
        let files = read.into_iter().map(|(path, text)| {
            text.hash(&mut digest);
            KeptFile {
                path: path.display().to_string(),
                text,
            }
        });
        let files: Vec<KeptFile> = files.collect();
        (files, format!("{:016x}", digest.finish()))
    }
}

/// A path from the root on.
pub(super) fn absolute(path: &Path) -> PathBuf {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned())
}
