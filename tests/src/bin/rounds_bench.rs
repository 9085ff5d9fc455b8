//! Measures the time and memory to settle rounds of a hundred to a hundred thousand wishes.
//!
//! `cargo run --release -p scionary-tests --bin rounds_bench -- [FOLDER]`: with a folder, it writes the input and the
//! outcome of the largest rounds there, and `tests/python/rounds_bench.py` settles the same input with OR-tools.
#![expect(clippy::disallowed_methods, reason = "a measure reads the clock")]

use std::{fs, path::Path, time::Instant};

use scionary_domain::clearing::{Unwatched, settle};
use scionary_tests::rounds::large;

/// Returns the peak memory of this process in megabytes (`VmHWM`).
fn memory() -> String {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM")).unwrap_or_default();
    let kilobytes: u64 = line.split_whitespace().nth(1).and_then(|k| k.parse().ok()).unwrap_or(0);
    format!("{} MB", kilobytes / 1024)
}

fn main() -> anyhow::Result<()> {
    let folder = std::env::args().nth(1);
    println!("members  lots a wish  wishes   units  objectives  seconds  most memory so far");
    for (members, lots_each) in [(10, 1), (100, 1), (1_000, 1), (3_000, 1), (10_000, 1), (10_000, 3)] {
        let input = large(members, lots_each, 1);
        let began = Instant::now();
        let outcome = settle(&input, "bench", &mut Unwatched, &mut |_| {})?;
        let seconds = began.elapsed().as_secs_f64();
        let units: u32 = outcome.shares.iter().map(|s| s.units).sum();
        let wishes = input.wants.len();
        let objectives = outcome.steps.len() - 1;
        println!(
            "{members:>7}  {lots_each:>11}  {wishes:>6}  {units:>6}  {objectives:>10}  {seconds:>7.2}  {}",
            memory()
        );
        if let Some(folder) = folder.as_deref().filter(|_| members >= 1_000) {
            let file = |what: &str| Path::new(folder).join(format!("{what}-{members}-{lots_each}.json"));
            fs::write(file("input"), input.canonical()?)?;
            fs::write(file("outcome"), serde_json::to_string(&outcome)?)?;
        }
    }
    Ok(())
}
