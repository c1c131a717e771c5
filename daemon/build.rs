//! Rebuilds the crate when a migration is added, since the migrations are compiled in.

fn main() {
    println!("cargo:rerun-if-changed=../migrations");
}
