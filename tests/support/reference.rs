//! What tests/outside/reference.py prints: degree-days and hours that are not ours.

use serde_json::Value;
use std::process::Command;
use std::sync::OnceLock;

/// The document, asked for once in each test program. `HATCHBELL_PEERS_PYTHON` names the Python
/// that has the packages.
pub fn reference() -> &'static Value {
    static REFERENCE: OnceLock<Value> = OnceLock::new();
    REFERENCE.get_or_init(|| {
        let python = std::env::var("HATCHBELL_PEERS_PYTHON").expect("run tests/run");
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/reference.py");
        let output = Command::new(python).arg(script).output().expect("it runs");
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        serde_json::from_slice(&output.stdout).expect("it prints JSON")
    })
}
