//! README.md names every command, in the words of its help.

#[test]
fn every_command_stands_in_the_table() {
    let readme = include_str!("../README.md");
    let missing: Vec<String> = railproof::cli::command()
        .get_subcommands()
        .filter_map(|command| {
            let about = command.get_about()?.to_string();
            let mut letters = about.chars();
            let first = letters.next()?.to_lowercase();
            let row = format!("| `{}` | {first}{} |", command.get_name(), letters.as_str());
            (!readme.contains(&row)).then_some(row)
        })
        .collect();
    assert!(missing.is_empty(), "not in README.md:\n{}", missing.join("\n"));
}
