//! What a study found, on one page: headings, what is to be said, tables. They are handed in as words, since studies are on
//! this floor too.

use super::look::{INK, LINE, QUIET, WASH};
use super::page::page;
use super::words::visible;
use maud::html;

/// A part of a study's result.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Its heading.
    pub heading: String,
    /// What is to be said of it.
    pub says: Vec<String>,
    /// Heads and rows.
    pub table: Option<(Vec<&'static str>, Vec<Vec<String>>)>,
}

impl Section {
    /// One without a table.
    pub fn saying(heading: &str, says: Vec<String>) -> Self {
        Self { heading: heading.to_owned(), says, table: None }
    }
}

/// Whether a cell holds a number, or stands for one.
fn is_number(cell: &str) -> bool {
    cell.starts_with(|first: char| first.is_ascii_digit() || "–-".contains(first))
}

/// The page of several sections.
pub fn sections_html(title: &str, sections: &[Section]) -> String {
    let style = format!(
        "body{{font:15px/1.45 sans-serif;color:{INK};max-width:58rem;margin:2rem auto;padding:0 1rem}}h1{{font-size:1.5rem}}\
         h2{{font-size:1.05rem;margin:2.2rem 0 .4rem}}p{{max-width:46rem;margin:.4rem 0;color:{QUIET}}}\
         div{{overflow-x:auto}}table{{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}}\
         th{{text-align:left;background:{WASH};font-weight:600}}th,td{{padding:.28rem .6rem;border-bottom:1px solid {LINE};\
         vertical-align:top}}td.n{{text-align:right;white-space:nowrap}}th.n{{text-align:right}}"
    );
    let numeric = |rows: &[Vec<String>], column: usize| {
        !rows.is_empty() && rows.iter().all(|row| row.get(column).is_some_and(|cell| is_number(cell)))
    };
    let body = html! {
        body {
            h1 { (visible(title)) }
            @for section in sections {
                section {
                    h2 { (visible(&section.heading)) }
                    @for said in &section.says { p { (said) } }
                    @if let Some((heads, rows)) = &section.table {
                        div { table {
                            thead { tr {
                                @for (column, head) in heads.iter().enumerate() {
                                    th scope="col" class=[numeric(rows, column).then_some("n")] { (head) }
                                }
                            } }
                            tbody { @for row in rows { tr {
                                @for (column, cell) in row.iter().enumerate() {
                                    td class=[numeric(rows, column).then_some("n")] { (visible(cell)) }
                                }
                            } } }
                        } }
                    }
                }
            }
        }
    };
    page(title, &style, &body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_has_every_cell_and_escapes_it() {
        let rows = vec![vec!["<b>".to_owned(), "3".to_owned()], vec!["plain".to_owned(), "–".to_owned()]];
        let section = Section {
            heading: "Faults & co".into(),
            says: vec!["said".into()],
            table: Some((vec!["name", "n"], rows)),
        };
        let page = sections_html("Study <1>", &[section, Section::saying("Last", Vec::new())]);
        assert!(page.contains("&lt;b&gt;") && page.contains("Faults &amp; co") && page.contains("Study &lt;1&gt;"));
        assert_eq!(page.matches("<td class=\"n\"").count(), 2, "numbers stand to the right");
    }
}
