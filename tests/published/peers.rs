//! The engine beside other programs for the same sums, fed the same weather in the same run.

use std::path::Path;
use std::process::Command;

#[test]
fn three_published_programs_find_the_same_demand_and_the_same_balance() {
    // pyfao56 1.4.3 (USDA-ARS), refet 0.5.0 (WSWUP), pyet 1.5.0 (Vremec and others); the script
    // installs them, holds the tolerances with their reasons and prints a table.
    if std::env::var_os("FURROWBELL_PEERS").is_none() {
        println!(
            "SKIP peers: set FURROWBELL_PEERS=1, as tests/run does, to install three programs"
        );
        return;
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../peers/compare.py");
    let output = Command::new("python3")
        .arg(script)
        .arg(env!("CARGO_BIN_EXE_peer_values"))
        .output()
        .expect("python3 runs");
    println!("{}", String::from_utf8_lossy(&output.stdout));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}
