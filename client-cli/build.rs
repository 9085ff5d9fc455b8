//! Makes LLVM's linker merge identical functions in the release binary (`--icf=all`).

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    let is = |name: &str, value: &str| std::env::var(name).as_deref() == Ok(value);
    let own_linker = std::env::var("RUSTC_LINKER").is_ok()
        || std::env::var("CARGO_ENCODED_RUSTFLAGS").is_ok_and(|flags| flags.contains("link"));
    // On this target rustc links with LLVM's linker by default.
    if is("TARGET", "x86_64-unknown-linux-gnu") && is("PROFILE", "release") && !own_linker {
        println!("cargo:rustc-link-arg-bins=-Wl,--icf=all");
    }
}
