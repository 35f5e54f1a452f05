//! What the shipped binary said, told and ended with.

use std::process::Output;

pub fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

pub fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

pub fn assert_says(output: &Output, code: i32, words: &[&str]) {
    let (said, told) = (said(output), told(output));
    assert_eq!(output.status.code(), Some(code), "{said}{told}");
    assert!(words.iter().all(|words| said.contains(words) || told.contains(words)), "{words:?} in {said}{told}");
}
