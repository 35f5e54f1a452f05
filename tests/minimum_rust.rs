//! The oldest Rust that Cargo.toml states is true of every package that railproof is built of. Of its own sources clippy
//! sees to that (`incompatible_msrv`).

use serde_json::Value;
use std::process::Command;

/// A version such as 1.92 or 1.92.0.
fn version(text: &str) -> Vec<u32> {
    let numbers: Vec<u32> = text.split('.').map(|number| number.parse().expect("a number")).collect();
    numbers.into_iter().chain([0, 0]).take(3).collect()
}

#[test]
fn no_package_asks_for_a_newer_rust_than_is_stated() {
    let told = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version=1", "--locked", "--offline"])
        .args(["--filter-platform", &format!("{}-unknown-linux-gnu", std::env::consts::ARCH)])
        .output()
        .expect("cargo runs");
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    let told: Value = serde_json::from_slice(&told.stdout).expect("JSON");
    let used: Vec<&str> =
        told["resolve"]["nodes"].as_array().expect("a list").iter().filter_map(|node| node["id"].as_str()).collect();
    let asked: Vec<(&str, &str)> = told["packages"]
        .as_array()
        .expect("a list")
        .iter()
        .filter(|package| package["id"].as_str().is_some_and(|id| used.contains(&id)))
        .filter_map(|package| Some((package["name"].as_str()?, package["rust_version"].as_str()?)))
        .collect();
    assert!(asked.len() > 100, "of {} packages it is known", asked.len());
    let stated = version(env!("CARGO_PKG_RUST_VERSION"));
    let newer: Vec<_> = asked.iter().filter(|(_, asks)| version(asks) > stated).collect();
    assert!(newer.is_empty(), "Cargo.toml states {stated:?}, and these ask for more: {newer:?}");
}
