//! Files of this machine, and gzip files wherever they come from.

use super::{FetchError, Fetched};
use crate::feed::limits::MOST_PACKED_BYTES;
use crate::station_feed::version::Validators;
use flate2::read::MultiGzDecoder;
use std::fs::{self, File, Metadata};
use std::io::{self, ErrorKind, Read};
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// How every gzip file begins.
pub(super) const GZIP_MAGIC: [u8; 2] = [0x1f, 0x8b];

/// The bytes, or what is in them if they are a gzip file.
pub(super) fn inflated(bytes: Vec<u8>, max_bytes: u64, at: &str) -> Result<Vec<u8>, FetchError> {
    if !bytes.starts_with(&GZIP_MAGIC) {
        return Ok(bytes);
    }
    let at = at.to_owned();
    if bytes.len() as u64 > MOST_PACKED_BYTES {
        let max_bytes = MOST_PACKED_BYTES;
        return Err(FetchError::TooLargePacked { at, max_bytes });
    }
    match read_capped(MultiGzDecoder::new(bytes.as_slice()), max_bytes) {
        Ok(Some(plain)) => Ok(plain),
        Ok(None) => Err(FetchError::TooLarge { at, max_bytes }),
        Err(error) if error.kind() == ErrorKind::UnexpectedEof => {
            let what = "the gzip file ends too early".to_owned();
            Err(FetchError::CutShort { at, what })
        }
        Err(error) => {
            let what = format!("the gzip file does not decompress: {error}");
            Err(FetchError::Damaged { at, what })
        }
    }
}

/// Everything there is to read, or nothing if that is more than `max_bytes`.
fn read_capped(source: impl Read, max_bytes: u64) -> io::Result<Option<Vec<u8>>> {
    let mut bytes = Vec::new();
    source
        .take(max_bytes.saturating_add(1))
        .read_to_end(&mut bytes)?;
    Ok((bytes.len() as u64 <= max_bytes).then_some(bytes))
}

/// Reads a file of this machine, decompressed if it is a gzip file.
///
/// # Errors
/// [`FetchError`] if it is missing, no regular file, unreadable, damaged, or has more than
/// `max_bytes` after decompression.
pub fn read_file(path: &Path, max_bytes: u64) -> Result<Vec<u8>, FetchError> {
    let (file, _) = open(path)?;
    read_open_file(&file, path, max_bytes)
}

/// Reads a file unless its size and modification time are the known ones.
pub(super) fn fetch_file(
    path: &Path,
    known: &Validators,
    max_bytes: u64,
) -> Result<Fetched, FetchError> {
    let (file, metadata) = open(path)?;
    let validators = Validators {
        etag: Some(format!(
            "{} bytes of {}.{:09}",
            metadata.len(),
            metadata.mtime(),
            metadata.mtime_nsec()
        )),
        last_modified: None,
    };
    if validators.etag == known.etag {
        return Ok(Fetched::NotModified);
    }
    let bytes = read_open_file(&file, path, max_bytes)?;
    Ok(Fetched::Body {
        bytes,
        validators,
        elsewhere: None,
    })
}

/// Opens a regular file. Others are refused before that, because opening a pipe may never end.
pub(super) fn open(path: &Path) -> Result<(File, Metadata), FetchError> {
    let unreadable = |error: io::Error| unreadable(path, &error);
    if !fs::metadata(path).map_err(unreadable)?.is_file() {
        return Err(FetchError::File {
            at: path.display().to_string(),
            what: "this is a folder or a device, not a file".to_owned(),
            remedy: "name the CSV file itself",
        });
    }
    let file = File::open(path).map_err(unreadable)?;
    let metadata = file.metadata().map_err(unreadable)?;
    Ok((file, metadata))
}

fn read_open_file(file: &File, path: &Path, max_bytes: u64) -> Result<Vec<u8>, FetchError> {
    let at = path.display().to_string();
    match read_capped(file, max_bytes).map_err(|error| unreadable(path, &error))? {
        Some(bytes) => inflated(bytes, max_bytes, &at),
        None => Err(FetchError::TooLarge { at, max_bytes }),
    }
}

fn unreadable(path: &Path, error: &io::Error) -> FetchError {
    let (what, remedy) = match error.kind() {
        ErrorKind::NotFound => (
            "there is no such file".to_owned(),
            "put it there or correct the path",
        ),
        ErrorKind::PermissionDenied => (
            "the file may not be read".to_owned(),
            "give the user that hatchbell runs as the right to read it and to enter its folders",
        ),
        _ => (
            format!("the file cannot be read: {error}"),
            "check the path and the disk",
        ),
    };
    FetchError::File {
        at: path.display().to_string(),
        what,
        remedy,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::{Compression, write::GzEncoder};
    use std::io::Write;
    use std::path::PathBuf;
    use std::time::Duration;
    use tempfile::TempDir;

    const ROWS: &[u8] = b"day,low,high\n2026-06-01,11.2,24.9\n";

    fn gzipped(bytes: &[u8]) -> Vec<u8> {
        let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
        encoder.write_all(bytes).unwrap();
        encoder.finish().unwrap()
    }

    fn file(bytes: &[u8]) -> (TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("paddock.csv");
        fs::write(&path, bytes).unwrap();
        (folder, path)
    }

    fn refusal(path: &Path) -> String {
        let error = read_file(path, 1000).unwrap_err();
        assert!(!error.is_transient());
        let text = error.to_string();
        let named = path.display().to_string();
        text.strip_prefix(&named).expect(&text).to_owned()
    }

    #[test]
    fn an_unchanged_file_is_not_read_again_and_a_changed_one_is() {
        let (_folder, path) = file(ROWS);
        let first = fetch_file(&path, &Validators::default(), 1000).unwrap();
        let Fetched::Body {
            bytes, validators, ..
        } = first
        else {
            panic!("a file that is not known was not read");
        };
        assert_eq!(bytes, ROWS);
        let again = fetch_file(&path, &validators, 1000).unwrap();
        assert_eq!(again, Fetched::NotModified);

        let modified = fs::metadata(&path).unwrap().modified().unwrap();
        let opened = File::options().append(true).open(&path).unwrap();
        opened
            .set_modified(modified + Duration::from_secs(1))
            .unwrap();
        let touched = fetch_file(&path, &validators, 1000).unwrap();
        assert!(matches!(touched, Fetched::Body { .. }));
    }

    #[test]
    fn a_gzip_file_of_several_parts_is_read_whole() {
        let (_folder, path) = file(&[gzipped(b"day,low"), gzipped(b",high\n")].concat());
        assert_eq!(read_file(&path, 1000).unwrap(), b"day,low,high\n");
    }

    #[test]
    fn the_size_limit_counts_bytes_after_decompression() {
        let (_folder, path) = file(&gzipped(&[b'0'; 1001]));
        let expected = FetchError::TooLarge {
            at: path.display().to_string(),
            max_bytes: 1000,
        };
        assert_eq!(read_file(&path, 1000).unwrap_err(), expected);
        assert_eq!(read_file(&path, 1001).unwrap().len(), 1001);

        let (_folder, plain) = file(&[b'0'; 1001]);
        assert!(matches!(
            read_file(&plain, 1000),
            Err(FetchError::TooLarge { .. })
        ));
    }

    #[test]
    fn a_damaged_gzip_file_is_refused() {
        let mut bytes = gzipped(ROWS);
        let sum = bytes.len() - 8;
        bytes[sum] ^= 1;
        let (_folder, path) = file(&bytes);
        assert!(refusal(&path).starts_with(": damaged: "));
    }

    #[test]
    fn what_is_no_readable_file_is_refused_with_a_reason() {
        let (folder, path) = file(ROWS);
        let missing = refusal(&folder.path().join("meadow.csv"));
        assert_eq!(
            missing,
            ": there is no such file; put it there or correct the path"
        );
        let directory = refusal(folder.path());
        assert!(
            directory.starts_with(": this is a folder or a device"),
            "{directory}"
        );
        let beyond = refusal(&path.join("more.csv"));
        assert!(
            beyond.starts_with(": the file cannot be read: "),
            "{beyond}"
        );
    }
}
