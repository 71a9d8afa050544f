//! Waiting for another process that is writing, unless the program is to stop.

use rusqlite::Connection;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Pause between two tries.
const PAUSE: Duration = Duration::from_millis(25);

/// Tries before a lock is an error: ten seconds of them.
const MOST_TRIES: i32 = 400;

/// Set once the program is to stop. SQLite calls [`goes_on_waiting`] without any word of ours.
static STOPPING: AtomicBool = AtomicBool::new(false);

/// From now on nothing waits for a lock in this process: it is to stop. May be called by any thread.
pub fn wait_no_more() {
    STOPPING.store(true, Ordering::SeqCst);
}

/// Makes a connection wait for others that write.
pub(super) fn wait_for_others(connection: &mut Connection) -> rusqlite::Result<()> {
    connection.busy_handler(Some(goes_on_waiting))
}

fn goes_on_waiting(tries: i32) -> bool {
    if tries >= MOST_TRIES || STOPPING.load(Ordering::SeqCst) {
        return false;
    }
    std::thread::sleep(PAUSE);
    true
}
