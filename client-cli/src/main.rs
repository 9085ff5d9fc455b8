//! `scionary`, the command-line client.

fn main() -> std::process::ExitCode {
    scionary_cli::main()
}
