//! Parses the arguments, calls one command, returns its exit status.

fn main() -> std::process::ExitCode {
    railproof::cli::main()
}
