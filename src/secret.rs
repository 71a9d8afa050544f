//! Passwords and tokens: where they come from, and a wrapper that does not show them.

use std::ffi::OsStr;
use std::fmt;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Largest secret that is read, in bytes, its line end included.
const LARGEST: u64 = 64 * 1024;

/// The variable in which systemd names the folder of a service's credentials.
const CREDENTIALS_DIRECTORY: &str = "CREDENTIALS_DIRECTORY";

/// A password or token. `Debug` shows `[secret]`, and there is no `Display`.
#[derive(Clone)]
pub struct Secret(String);

impl Secret {
    /// Wraps `text`.
    pub fn new(text: String) -> Self {
        Self(text)
    }

    /// The text itself, for the one place that hands it over.
    pub fn expose(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("[secret]")
    }
}

/// Where a secret is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SecretSource {
    /// A file that holds the secret on one line and that only its owner may read.
    File(PathBuf),
    /// A credential that systemd hands to the service, by name.
    Credential(String),
}

impl fmt::Display for SecretSource {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(path) => write!(f, "file {}", path.display()),
            Self::Credential(name) => write!(f, "systemd credential {name}"),
        }
    }
}

/// Why a secret could not be had. The text names the place and what to do, never the content.
#[derive(Debug, thiserror::Error)]
pub enum SecretError {
    /// There is no such file or credential.
    #[error("{place}: not found; create it with the secret on one line")]
    Missing {
        /// File or credential.
        place: String,
    },
    /// The service was not started by systemd, or was given no credentials.
    #[error(
        "systemd credential {name}: the service was given no credentials ({CREDENTIALS_DIRECTORY} is \
         not set); add LoadCredential={name}:/path/to/file to the unit, or name a file instead"
    )]
    NoCredentials {
        /// Name of the credential.
        name: String,
    },
    /// The name would lead out of the credentials folder.
    #[error(
        "systemd credential {name:?}: not a credential name; use the name given in LoadCredential=, \
         without slashes"
    )]
    BadName {
        /// Name as given.
        name: String,
    },
    /// A folder, device or pipe.
    #[error("{place}: not a regular file; name a file that holds the secret on one line")]
    NotAFile {
        /// File or credential.
        place: String,
    },
    /// Others than the owner may read or change the file.
    #[error("{place}: open to others than its owner (mode {mode:03o}); run: chmod 600 {argument}")]
    Exposed {
        /// File.
        place: String,
        /// Permission bits.
        mode: u32,
        /// The path, quoted for a shell.
        argument: String,
    },
    /// It is there and cannot be read.
    #[error("{place}: cannot be read: {cause}; let the service's user own it")]
    Unreadable {
        /// File or credential.
        place: String,
        /// What the system says.
        cause: io::Error,
    },
    /// Nothing but white space.
    #[error("{place}: empty; put the secret on its first line")]
    Empty {
        /// File or credential.
        place: String,
    },
    /// More than 64 KiB.
    #[error("{place}: larger than {} KiB, so not a password or token; check the name", LARGEST / 1024)]
    TooLarge {
        /// File or credential.
        place: String,
    },
    /// More than one line.
    #[error("{place}: more than one line; keep the secret alone, on one line")]
    SeveralLines {
        /// File or credential.
        place: String,
    },
    /// Not UTF-8, or control characters.
    #[error("{place}: not plain text; keep the secret as UTF-8 without control characters")]
    NotText {
        /// File or credential.
        place: String,
    },
}

impl SecretSource {
    /// Reads the secret, without the line end that follows it. Credentials are looked for in the
    /// folder systemd names in `CREDENTIALS_DIRECTORY`.
    ///
    /// # Errors
    ///
    /// If the secret is missing, empty, of several lines, not text, larger than 64 KiB, or a file
    /// open to others than its owner.
    pub fn load(&self) -> Result<Secret, SecretError> {
        let folder = std::env::var_os(CREDENTIALS_DIRECTORY);
        self.load_with(folder.as_deref().filter(|f| !f.is_empty()).map(Path::new))
    }

    /// As [`load`](Self::load), with the folder of systemd credentials given.
    ///
    /// # Errors
    ///
    /// As for [`load`](Self::load).
    pub fn load_with(&self, credentials: Option<&Path>) -> Result<Secret, SecretError> {
        let place = self.to_string();
        match self {
            Self::File(path) => {
                let file = open(path, &place)?;
                refuse_exposed(&file, path, &place)?;
                read(file, place)
            }
            Self::Credential(name) => {
                let path = credential_path(name, credentials)?;
                read(open(&path, &place)?, place)
            }
        }
    }
}

fn credential_path(name: &str, folder: Option<&Path>) -> Result<PathBuf, SecretError> {
    let owned = || name.to_owned();
    if Path::new(name).file_name() != Some(OsStr::new(name)) {
        return Err(SecretError::BadName { name: owned() });
    }
    folder
        .map(|folder| folder.join(name))
        .ok_or_else(|| SecretError::NoCredentials { name: owned() })
}

/// Opens a regular file. It looks before it opens, since opening a pipe would wait for a writer.
fn open(path: &Path, place: &str) -> Result<File, SecretError> {
    let failed = |cause: io::Error| io_error(place, cause);
    if !fs::metadata(path).map_err(failed)?.is_file() {
        return Err(SecretError::NotAFile {
            place: place.to_owned(),
        });
    }
    File::open(path).map_err(failed)
}

fn io_error(place: &str, cause: io::Error) -> SecretError {
    let place = place.to_owned();
    match cause.kind() {
        io::ErrorKind::NotFound => SecretError::Missing { place },
        _ => SecretError::Unreadable { place, cause },
    }
}

/// Looks at the open file, so that it is the one that is read.
#[cfg(unix)]
fn refuse_exposed(file: &File, path: &Path, place: &str) -> Result<(), SecretError> {
    use std::os::unix::fs::PermissionsExt;

    let metadata = file.metadata().map_err(|cause| io_error(place, cause))?;
    let mode = metadata.permissions().mode() & 0o777;
    if mode & 0o077 == 0 {
        return Ok(());
    }
    Err(SecretError::Exposed {
        place: place.to_owned(),
        mode,
        argument: shell_quoted(path),
    })
}

#[cfg(not(unix))]
fn refuse_exposed(_: &File, _: &Path, _: &str) -> Result<(), SecretError> {
    Ok(())
}

#[cfg(unix)]
fn shell_quoted(path: &Path) -> String {
    format!("'{}'", path.display().to_string().replace('\'', r"'\''"))
}

fn read(file: File, place: String) -> Result<Secret, SecretError> {
    let mut bytes = Vec::new();
    file.take(LARGEST + 1)
        .read_to_end(&mut bytes)
        .map_err(|cause| io_error(&place, cause))?;
    if bytes.len() as u64 > LARGEST {
        return Err(SecretError::TooLarge { place });
    }
    match String::from_utf8(bytes) {
        Ok(text) => one_line(&text, place),
        Err(_) => Err(SecretError::NotText { place }),
    }
}

fn one_line(text: &str, place: String) -> Result<Secret, SecretError> {
    let line = text.strip_suffix('\n').unwrap_or(text);
    let line = line.strip_suffix('\r').unwrap_or(line);
    if line.trim().is_empty() {
        return Err(SecretError::Empty { place });
    }
    if line.contains(['\n', '\r']) {
        return Err(SecretError::SeveralLines { place });
    }
    if line.contains(char::is_control) {
        return Err(SecretError::NotText { place });
    }
    Ok(Secret::new(line.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Folder(tempfile::TempDir);

    impl Folder {
        fn new() -> Self {
            Self(tempfile::tempdir().expect("a temporary folder"))
        }

        /// A file only its owner may read, as the source that names it.
        fn file(&self, content: &[u8]) -> SecretSource {
            let path = self.0.path().join("mail-password");
            fs::write(&path, content).expect("a written file");
            set_mode(&path, 0o600);
            SecretSource::File(path)
        }

        /// What reading a file with this content complains about.
        fn complaint(&self, content: &[u8]) -> String {
            self.file(content).load().expect_err("an error").to_string()
        }
    }

    #[cfg(unix)]
    fn set_mode(path: &Path, mode: u32) {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("changed permissions");
    }

    #[cfg(not(unix))]
    fn set_mode(_: &Path, _: u32) {}

    #[test]
    fn debug_output_does_not_show_the_secret() {
        let shown = format!("{:?}", Some(Secret::new("thatch-rake".into())));
        assert_eq!(shown, "Some([secret])");
    }

    #[test]
    fn one_line_end_is_taken_off_and_inner_spaces_stay() {
        let folder = Folder::new();
        for content in [" dew point", " dew point\n", " dew point\r\n"] {
            let secret = folder.file(content.as_bytes()).load().expect("a secret");
            assert_eq!(secret.expose(), " dew point");
        }
    }

    #[test]
    fn an_empty_file_is_refused() {
        let folder = Folder::new();
        for content in ["", "\n", "  \r\n", "\n\n"] {
            let complaint = folder.complaint(content.as_bytes());
            assert!(complaint.contains("mail-password: empty"), "{complaint}");
        }
    }

    #[test]
    fn several_lines_are_refused_without_showing_them() {
        let folder = Folder::new();
        for content in ["dew\npoint\n", "dew\n\n", "dew\rpoint"] {
            let complaint = folder.complaint(content.as_bytes());
            assert!(complaint.contains("more than one line"), "{complaint}");
            assert!(!complaint.contains("dew"), "{complaint}");
        }
    }

    #[test]
    fn bytes_that_are_not_text_are_refused() {
        let folder = Folder::new();
        for content in [b"dew\xff".as_slice(), b"dew\0point", b"dew\x1b[0m"] {
            let complaint = folder.complaint(content);
            assert!(complaint.contains("not plain text"), "{complaint}");
            assert!(!complaint.contains("dew"), "{complaint}");
        }
    }

    #[test]
    fn sixty_four_kibibytes_are_read_and_one_byte_more_is_not() {
        let folder = Folder::new();
        let mut content = vec![b'x'; 64 * 1024];
        let secret = folder.file(&content).load().expect("a secret");
        assert_eq!(secret.expose().len(), 64 * 1024);
        content.push(b'x');
        let complaint = folder.complaint(&content);
        assert!(complaint.contains("larger than 64 KiB"), "{complaint}");
    }

    #[test]
    fn a_missing_file_and_a_folder_are_named_in_the_error() {
        let folder = Folder::new();
        let missing = SecretSource::File(folder.0.path().join("nowhere"));
        let complaint = missing.load().expect_err("an error").to_string();
        assert!(complaint.contains("nowhere: not found"), "{complaint}");
        let not_a_file = SecretSource::File(folder.0.path().to_owned());
        let complaint = not_a_file.load().expect_err("an error").to_string();
        assert!(complaint.contains("not a regular file"), "{complaint}");
    }

    #[cfg(unix)]
    #[test]
    fn a_file_open_to_group_or_others_is_refused_with_the_command_that_closes_it() {
        let folder = Folder::new();
        let source = folder.file(b"dew point\n");
        let SecretSource::File(path) = &source else {
            unreachable!("a file source");
        };
        for mode in [0o640, 0o604, 0o620, 0o601] {
            set_mode(path, mode);
            let complaint = source.load().expect_err("an error").to_string();
            let command = format!("chmod 600 '{}'", path.display());
            assert!(complaint.contains(&command), "{complaint}");
            assert!(complaint.contains(&format!("{mode:o}")), "{complaint}");
        }
        set_mode(path, 0o400);
        assert!(source.load().is_ok());
    }

    #[cfg(unix)]
    #[test]
    fn a_path_with_a_quote_is_quoted_for_the_shell() {
        assert_eq!(shell_quoted(Path::new("/a b/c'd")), r"'/a b/c'\''d'");
    }

    #[test]
    fn a_credential_comes_from_the_folder_systemd_names_whatever_its_mode() {
        let folder = Folder::new();
        let path = folder.0.path().join("smtp");
        fs::write(&path, "dew point\n").expect("a written file");
        set_mode(&path, 0o444);
        let secret = SecretSource::Credential("smtp".into())
            .load_with(Some(folder.0.path()))
            .expect("a secret");
        assert_eq!(secret.expose(), "dew point");
    }

    #[test]
    fn a_credential_without_a_folder_says_what_the_unit_needs() {
        let error = SecretSource::Credential("smtp".into())
            .load_with(None)
            .expect_err("an error");
        assert!(
            error.to_string().contains("LoadCredential=smtp:"),
            "{error}"
        );
    }

    #[test]
    fn a_credential_name_cannot_leave_its_folder() {
        let folder = Folder::new();
        folder.file(b"dew point");
        for name in [
            "../mail-password",
            "..",
            ".",
            "",
            "/etc/hostname",
            "a/",
            "mail-password/.",
        ] {
            let error = SecretSource::Credential(name.into())
                .load_with(Some(folder.0.path()))
                .expect_err("an error");
            assert!(
                matches!(error, SecretError::BadName { .. }),
                "{name}: {error}"
            );
        }
    }

    #[test]
    fn sources_are_named_for_people() {
        let file = SecretSource::File("/etc/x/smtp".into());
        assert_eq!(file.to_string(), "file /etc/x/smtp");
        let credential = SecretSource::Credential("smtp".into());
        assert_eq!(credential.to_string(), "systemd credential smtp");
    }
}
