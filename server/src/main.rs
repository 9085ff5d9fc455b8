//! `scionaryd`, the server.

fn main() -> std::process::ExitCode {
    scionary_server::command::main()
}
