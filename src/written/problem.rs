//! One thing that is wrong in a file, shown in its source line.

use super::Source;
use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use std::fmt;
use std::ops::Range;

/// One thing that is wrong in a file: where, what, and what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// What is wrong: "`90` has no unit; a speed is wanted here".
    pub what: String,
    /// What would be right: "write `90 mm/s`".
    pub right: String,
    /// The bytes of the text that it is about.
    pub span: Range<usize>,
    /// Their line, counted from 1.
    pub line: usize,
    /// Their column, counted from 1 in characters.
    pub column: usize,
    /// Where that is in the file's structure: `checks[1].moves[0].travel.speed`; empty for the whole file.
    pub path: String,
    source: Source,
}

/// For whom a problem is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// A log, a file, a test.
    Plain,
    /// A terminal with colour.
    Styled,
}

impl Problem {
    /// A problem with the bytes `span` of a text. A span outside of the text is moved to its end.
    pub fn new(
        source: &Source,
        span: Range<usize>,
        path: impl Into<String>,
        what: impl Into<String>,
        right: impl Into<String>,
    ) -> Self {
        let text = source.text();
        let start = text.floor_char_boundary(span.start.min(text.trim_end().len()));
        let end = text.floor_char_boundary(span.end.clamp(start, text.len()));
        let (line, column) = source.line_and_column(start);
        Self {
            what: what.into(),
            right: right.into(),
            span: start..end,
            line,
            column,
            path: path.into(),
            source: source.clone(),
        }
    }

    /// Name of the file.
    pub fn file(&self) -> &str {
        self.source.name()
    }

    /// In several lines: `file:line:column` with what is wrong, the source line with the place marked, what would be
    /// right. No line break at the end.
    pub fn show(&self, style: Style) -> String {
        let renderer = match style {
            Style::Plain => Renderer::plain(),
            Style::Styled => Renderer::styled(),
        };
        let mark = AnnotationKind::Primary.span(self.span.clone());
        let mark = if self.path.is_empty() { mark } else { mark.label(self.path.as_str()) };
        let group = Group::with_level(Level::ERROR)
            .element(Snippet::source(self.source.text()).annotation(mark))
            .element(Level::HELP.with_name("right").message(self.right.as_str()));
        format!("{}:{}:{}: {}\n{}", self.file(), self.line, self.column, self.what, renderer.render(&[group]))
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.show(Style::Plain))
    }
}

impl std::error::Error for Problem {}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::expect;

    #[test]
    fn a_problem_begins_with_its_place_and_ends_with_the_remedy() {
        let text = "plan: quick\nchecks:\n  - moves:\n      - travel: { to: right, speed: 90 } # µ\n";
        let start = text.find("90").unwrap();
        let problem = Problem::new(
            &Source::new("quick.yaml", text),
            start..start + 2,
            "checks[0].moves[0].travel.speed",
            "`90` has no unit; a speed is wanted here",
            "write for example `90 mm/s`",
        );
        expect![[r#"
            quick.yaml:4:37: `90` has no unit; a speed is wanted here
              |
            4 |       - travel: { to: right, speed: 90 } # µ
              |                                     ^^ checks[0].moves[0].travel.speed
              |
              = right: write for example `90 mm/s`"#]]
        .assert_eq(&problem.to_string());
    }

    #[test]
    fn a_place_beyond_the_text_is_moved_into_it() {
        let problem = Problem::new(&Source::new("empty.yaml", ""), 7..12, "", "this file is empty", "write a plan");
        assert_eq!((problem.line, problem.column, problem.span.clone()), (1, 1, 0..0));
        expect![[r#"
            empty.yaml:1:1: this file is empty
              |
            1 |
              | ^
              |
              = right: write a plan"#]]
        .assert_eq(&problem.to_string());
    }
}
