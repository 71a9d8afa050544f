//! Where `hatchbell reload` knocks: a socket beside the database that its owner alone can use.

use serde::{Deserialize, Serialize};
use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::{UnixListener, UnixStream};

/// What became of a configuration that the service was asked to read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReloadVerdict {
    /// Whether it is in force.
    pub taken: bool,
    /// What became of it, in words.
    pub words: String,
    /// What is wrong with it, a line each, and what is worth a look.
    pub problems: Vec<String>,
    /// Whether something is wrong: also where it is in force but for some members.
    pub faulty: bool,
}

/// Longest wait for somebody who asked and does not listen.
const PATIENCE: Duration = Duration::from_secs(5);

/// The socket beside a database.
pub fn socket_of(database: &Path) -> PathBuf {
    let mut name = database.as_os_str().to_owned();
    name.push(".reload");
    PathBuf::from(name)
}

/// The open socket; it goes with its owner.
pub(super) struct Door {
    listener: UnixListener,
    path: PathBuf,
}

impl Door {
    /// Opens the socket. One that was left behind is taken away: the run lock tells that nobody
    /// listens there.
    ///
    /// # Errors
    /// What the system said.
    pub fn open(database: &Path) -> io::Result<Self> {
        let path = socket_of(database);
        match std::fs::remove_file(&path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        let listener = UnixListener::bind(&path)?;
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600))?;
        Ok(Self { listener, path })
    }

    /// Waits for somebody who asks.
    pub async fn knock(&self) -> io::Result<UnixStream> {
        Ok(self.listener.accept().await?.0)
    }
}

impl Drop for Door {
    fn drop(&mut self) {
        // Whoever asks next is told that nobody listens, either way.
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Tells whoever asked.
///
/// # Errors
/// What the system said, or that they did not listen.
pub(super) async fn answer(mut stream: UnixStream, verdict: &ReloadVerdict) -> io::Result<()> {
    let text = serde_json::to_vec(verdict)?;
    let telling = async {
        stream.write_all(&text).await?;
        stream.shutdown().await
    };
    tokio::time::timeout(PATIENCE, telling).await?
}
