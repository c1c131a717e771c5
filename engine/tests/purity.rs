//! The engine stays pure: it leans on nothing that could reach a clock, a file, a socket or a die.

use std::path::Path;

/// What its manifest may name beside the standard library.
const MAY_USE: [&str; 4] = ["arrayvec", "chrono", "serde", "thiserror"];
/// What its source may not name.
const MAY_NOT_NAME: [&str; 14] = [
    "tokio",
    "reqwest",
    "sqlx",
    "rand::",
    "getrandom",
    "std::fs",
    "std::net",
    "std::env",
    "std::io",
    "std::thread",
    "SystemTime",
    "Instant",
    "Utc::now",
    "static mut",
];

fn here() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn the_manifest_names_four_dependencies() {
    let manifest = std::fs::read_to_string(here().join("Cargo.toml")).unwrap();
    let mut names: Vec<&str> = manifest
        .lines()
        .skip_while(|line| *line != "[dependencies]")
        .skip(1)
        .take_while(|line| !line.starts_with('['))
        .filter_map(|line| line.split(['.', ' ', '=']).next())
        .filter(|name| !name.is_empty())
        .collect();
    names.sort_unstable();
    assert_eq!(names, MAY_USE);
    assert!(!manifest.contains("[build-dependencies]"));
}

#[test]
fn chrono_brings_no_clock() {
    let workspace = std::fs::read_to_string(here().join("../Cargo.toml")).unwrap();
    let line = workspace.lines().find(|line| line.starts_with("chrono =")).unwrap();
    assert!(line.contains("default-features = false") && !line.contains("clock"), "{line}");
}

#[test]
fn the_source_names_nothing_outside() {
    let mut seen = 0;
    let mut folders = vec![here().join("src")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            seen += 1;
            let source = std::fs::read_to_string(&path).unwrap();
            for name in MAY_NOT_NAME {
                assert!(!source.contains(name), "{} names {name}", path.display());
            }
        }
    }
    assert!(seen > 20, "only {seen} files were read");
}
