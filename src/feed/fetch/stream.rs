//! A file of this machine as a stream, read and inflated ahead by a thread of its own.

use super::FetchError;
use super::disk::{GZIP_MAGIC, open};
use crate::station_feed::version::FileMark;
use flate2::read::MultiGzDecoder;
use std::fs::{File, Metadata};
use std::io::{self, BufReader, Cursor, ErrorKind, Read};
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// Bytes handed over at a time.
const BLOCK_BYTES: usize = 256 << 10;
/// Blocks read ahead at most.
const BLOCKS_AHEAD: usize = 4;

impl FileMark {
    /// The mark of a file.
    ///
    /// # Errors
    /// [`FetchError`] if it is missing, no regular file, or may not be read.
    pub fn of(path: &Path) -> Result<Self, FetchError> {
        let (file, metadata) = open(path)?;
        drop(file);
        Ok(Self::new(path, &metadata))
    }

    fn new(path: &Path, metadata: &Metadata) -> Self {
        Self {
            path: path.canonicalize().unwrap_or_else(|_| path.to_owned()),
            bytes: metadata.len(),
            modified: format!("{}.{:09}", metadata.mtime(), metadata.mtime_nsec()),
        }
    }
}

/// The bytes of a file, or what is in them if they are a gzip file.
#[derive(Debug)]
pub struct Stream {
    blocks: Receiver<io::Result<Vec<u8>>>,
    block: Cursor<Vec<u8>>,
}

impl Stream {
    /// Opens a file. `passed` is told of bytes read from the disk as they are read.
    ///
    /// # Errors
    /// As [`FileMark::of`]; what goes wrong later comes from [`Read::read`].
    pub fn open(path: &Path, passed: impl Fn(u64) + Send + 'static) -> Result<Self, FetchError> {
        let (file, _) = open(path)?;
        let (sender, blocks) = sync_channel(BLOCKS_AHEAD);
        std::thread::spawn(move || {
            if let Err(error) = send(file, passed, &sender) {
                // Nobody listens any more if this fails.
                let _ = sender.send(Err(error));
            }
        });
        Ok(Self {
            blocks,
            block: Cursor::default(),
        })
    }
}

impl Read for Stream {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            let read = self.block.read(buffer)?;
            if read > 0 || buffer.is_empty() {
                return Ok(read);
            }
            match self.blocks.recv() {
                Ok(block) => self.block = Cursor::new(block?),
                Err(_) => return Ok(0),
            }
        }
    }
}

/// A file that tells how much of it was read.
struct CountingReader<F> {
    file: File,
    passed: F,
}

impl<F: Fn(u64)> Read for CountingReader<F> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.file.read(buffer)?;
        (self.passed)(read as u64);
        Ok(read)
    }
}

/// Sends the bytes block by block until they end or nobody listens.
fn send(file: File, passed: impl Fn(u64), to: &SyncSender<io::Result<Vec<u8>>>) -> io::Result<()> {
    let mut file = CountingReader { file, passed };
    let mut start = Vec::new();
    (&mut file)
        .take(GZIP_MAGIC.len() as u64)
        .read_to_end(&mut start)?;
    let is_gzip = start == GZIP_MAGIC;
    let whole = Cursor::new(start).chain(file);
    let mut source: Box<dyn Read> = if is_gzip {
        Box::new(MultiGzDecoder::new(BufReader::with_capacity(
            BLOCK_BYTES,
            whole,
        )))
    } else {
        Box::new(whole)
    };
    loop {
        let mut block = Vec::with_capacity(BLOCK_BYTES);
        let read = (&mut source)
            .take(BLOCK_BYTES as u64)
            .read_to_end(&mut block);
        let ended = matches!(read, Ok(0));
        if !block.is_empty() && to.send(Ok(block)).is_err() {
            return Ok(());
        }
        read.map_err(|error| if is_gzip { worded(&error) } else { error })?;
        if ended {
            return Ok(());
        }
    }
}

fn worded(error: &io::Error) -> io::Error {
    let what = match error.kind() {
        ErrorKind::UnexpectedEof => {
            "the gzip file ends too early, so it was cut off on the way; get it again".to_owned()
        }
        _ => format!("the gzip file does not decompress: {error}; get it again"),
    };
    io::Error::new(error.kind(), what)
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::{Compression, write::GzEncoder};
    use std::io::Write;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicU64, Ordering};

    fn rows() -> Vec<u8> {
        (0..100_000u32)
            .flat_map(|n| format!("{n},paddock\n").into_bytes())
            .collect()
    }

    fn read(bytes: &[u8]) -> (io::Result<Vec<u8>>, u64) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("paddock.csv");
        std::fs::write(&path, bytes).unwrap();
        let passed = Arc::new(AtomicU64::new(0));
        let counter = Arc::clone(&passed);
        let mut stream = Stream::open(&path, move |bytes| {
            counter.fetch_add(bytes, Ordering::Relaxed);
        })
        .unwrap();
        let mut found = Vec::new();
        let result = stream.read_to_end(&mut found).map(|_| found);
        (result, passed.load(Ordering::Relaxed))
    }

    fn gzipped(bytes: &[u8]) -> Vec<u8> {
        let mut encoder = GzEncoder::new(Vec::new(), Compression::fast());
        encoder.write_all(bytes).unwrap();
        encoder.finish().unwrap()
    }

    #[test]
    fn plain_and_gzip_files_give_the_same_bytes_and_count_those_on_the_disk() {
        let rows = rows();
        assert!(rows.len() > 4 * BLOCK_BYTES);
        let (found, passed) = read(&rows);
        assert!(found.unwrap() == rows && passed == rows.len() as u64);
        let packed = gzipped(&rows);
        let (found, passed) = read(&packed);
        assert!(found.unwrap() == rows && passed == packed.len() as u64);
        let (found, _) = read(&[packed.clone(), packed].concat());
        assert_eq!(found.unwrap().len(), 2 * rows.len());
    }

    #[test]
    fn a_gzip_file_that_is_cut_or_damaged_is_an_error() {
        let packed = gzipped(&rows());
        let (found, _) = read(&packed[..packed.len() - 9]);
        let error = found.unwrap_err().to_string();
        assert!(error.contains("ends too early"), "{error}");
        let mut damaged = packed;
        let sum = damaged.len() - 8;
        damaged[sum] ^= 1;
        let (found, _) = read(&damaged);
        let error = found.unwrap_err().to_string();
        assert!(error.contains("does not decompress"), "{error}");
    }

    #[test]
    fn a_stream_that_is_dropped_half_read_ends_its_thread() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("paddock.csv");
        std::fs::write(&path, rows()).unwrap();
        let held = Arc::new(());
        let kept = Arc::clone(&held);
        let stream = Stream::open(&path, move |_| {
            let _ = &kept;
        })
        .unwrap();
        drop(stream);
        while Arc::strong_count(&held) > 1 {
            std::thread::yield_now();
        }
    }
}
