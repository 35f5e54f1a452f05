//! The sheet set into pages, section by section.

use super::flow::{Flow, Ink, LEFT, PAGE, RIGHT, Type};
use super::table::{Cell, CellDrawing, Heading, Table, columns, row_height};
use super::tree::Role;
use crate::record::stored::Verdict;
use crate::report::face::{self, Weight};
use crate::report::sheet::{Fact, Failure, Group, Row, Sheet, phrases};
use crate::report::{look, overdue, plot, scale};

const WIDTH: f64 = RIGHT - LEFT;

/// All pages.
pub fn set(sheet: &Sheet) -> Flow {
    let mut flow = Flow::new();
    if let Some(mark) = sheet.simulated {
        let node = flow.tree.add(None, Role::Paragraph);
        strip(&mut flow, Some(node), mark);
    }
    head(&mut flow, sheet);
    facts(&mut flow, &sheet.facts);
    list(&mut flow, overdue::TITLE, &sheet.overdue);
    list(&mut flow, "Why the run is invalid", &sheet.reasons);
    failures(&mut flow, sheet);
    if sheet.comparison.is_empty() {
        results(&mut flow, sheet);
    } else {
        comparison(&mut flow, sheet);
    }
    plots(&mut flow, sheet);
    calibrations(&mut flow, sheet);
    list(&mut flow, "Notes of the bench", &sheet.notes);
    cautions(&mut flow, sheet);
    furniture(&mut flow, sheet);
    flow
}

/// The mark of a simulated run, at the top of the present page.
fn strip(flow: &mut Flow, node: Option<super::tree::NodeId>, mark: &str) {
    let kind = Type { size: 8.0, leading: 14.0, weight: Weight::SemiBold, colour: "#ffffff" };
    flow.fill((0.0, 14.0, PAGE.0, 18.0), look::INK);
    let left = (PAGE.0 - face::width(mark, kind.weight, kind.size)) / 2.0;
    flow.text(node, (left, 16.0), mark, kind);
}

fn head(flow: &mut Flow, sheet: &Sheet) {
    const PANEL: f64 = 196.0;
    let left_room = WIDTH - PANEL - 22.0;
    let top = flow.y;
    let kind = Type { size: 9.0, leading: 13.0, ..Type::BODY }.coloured(look::QUIET);
    let big = Type { size: 23.0, leading: 27.0, ..Type::STRONG };
    let serial = Type { size: 11.5, leading: 15.0, ..Type::STRONG };

    let maker = flow.tree.add(None, Role::Paragraph);
    let mut y = flow.lines(Some(maker), (LEFT, top), &kind.wrap(&sheet.maker, left_room), kind);
    let heading = format!("{}: {}", sheet.title, sheet.model);
    let title = flow.tree.add(None, Role::Heading { level: 1, text: heading });
    y = flow.lines(Some(title), (LEFT, y), &kind.wrap(sheet.title, left_room), kind.coloured(look::INK));
    y = flow.lines(Some(title), (LEFT, y + 2.0), &big.wrap(&sheet.model, left_room), big);
    let number = flow.tree.add(None, Role::Paragraph);
    let lines = serial.wrap(&format!("Serial number {}", sheet.serial), left_room);
    y = flow.lines(Some(number), (LEFT, y + 3.0), &lines, serial);

    let panel_left = RIGHT - PANEL;
    let hue = look::colour(sheet.verdict);
    let headline = Type { size: 14.0, leading: 18.0, ..Type::STRONG }.coloured(hue);
    let statement = Type::BODY.wrap(&sheet.statement, PANEL - 26.0);
    let height = 20.0 + headline.leading + 2.0 + statement.len() as f64 * Type::BODY.leading;
    let bottom = y.max(top + height);
    flow.fill((panel_left, bottom - height, PANEL, height), look::wash(sheet.verdict));
    flow.fill((panel_left, bottom - height, 3.5, height), hue);
    let verdict = flow.tree.add(None, Role::Paragraph);
    let text = format!("{} {}", look::mark(sheet.verdict), sheet.headline);
    flow.text(Some(verdict), (panel_left + 14.0, bottom - height + 9.0), &text, headline);
    flow.lines(Some(verdict), (panel_left + 14.0, bottom - height + 11.0 + headline.leading), &statement, Type::BODY);

    flow.y = bottom + 9.0;
    flow.rule(hue, 1.6);
    flow.y += 10.0;
}

fn facts(flow: &mut Flow, facts: &[Fact]) {
    const COLUMNS: usize = 3;
    let (wide, short): (Vec<&Fact>, Vec<&Fact>) = facts.iter().partition(|fact| fact.is_wide);
    let room = WIDTH / COLUMNS as f64;
    for row in short.chunks(COLUMNS) {
        fact_row(flow, row, room);
    }
    for fact in wide {
        fact_row(flow, &[fact], WIDTH);
    }
}

fn fact_row(flow: &mut Flow, facts: &[&Fact], room: f64) {
    let wrapped: Vec<Vec<String>> = facts.iter().map(|fact| Type::BODY.wrap(&fact.value, room - 12.0)).collect();
    let lines = wrapped.iter().map(Vec::len).max().unwrap_or(0) as f64;
    let height = Type::SMALL.leading + lines * Type::BODY.leading + 4.5;
    flow.need(height);
    for (index, (fact, value)) in facts.iter().zip(&wrapped).enumerate() {
        let left = LEFT + index as f64 * room;
        let node = flow.tree.add(None, Role::Paragraph);
        flow.text(Some(node), (left, flow.y), fact.name, Type::SMALL);
        flow.lines(Some(node), (left, flow.y + Type::SMALL.leading), value, Type::BODY);
    }
    flow.y += height;
}

/// A section of plain lines; nothing where there are none.
fn list(flow: &mut Flow, title: &'static str, lines: &[String]) {
    if !lines.is_empty() {
        flow.section(title, 2.0 * Type::BODY.leading);
        for line in lines {
            flow.paragraph(line, Type::BODY);
            flow.y += 2.0;
        }
    }
}

fn failures(flow: &mut Flow, sheet: &Sheet) {
    if !sheet.failures.is_empty() {
        flow.section("What is not proven to conform", 60.0);
        for one in &sheet.failures {
            failure(flow, one);
        }
    }
}

fn failure(flow: &mut Flow, failure: &Failure) {
    let hue = look::colour(failure.verdict);
    let title = Type { size: 9.2, leading: 13.0, ..Type::STRONG };
    let mut card = Card::default();
    card.add(Role::Heading { level: 3, text: failure.check.clone() }, &failure.check, title, 5.0);
    card.add(Role::Paragraph, &decided(failure.verdict), Type::STRONG.coloured(hue), 0.0);
    for point in &failure.points {
        card.add(Role::Paragraph, &point.name, Type::STRONG, 3.0);
        card.add(Role::Paragraph, &point.says, Type::BODY, 0.0);
    }
    for finding in &failure.findings {
        card.add(Role::Paragraph, finding, Type::BODY, 3.0);
    }
    if !failure.look_first.is_empty() {
        card.add(Role::Paragraph, &format!("Look first at: {}", failure.look_first.join(", ")), Type::STRONG, 3.0);
    }
    card.print(flow, hue, look::wash(failure.verdict));
}

/// A block with a ground and a bar at its left: whole on one page, or where it is longer than a page over several.
#[derive(Default)]
struct Card {
    /// Role, lines, their type, and the room above them.
    parts: Vec<(Role, Vec<String>, Type, f64)>,
}

impl Card {
    const END: f64 = 5.0;

    fn add(&mut self, role: Role, text: &str, kind: Type, above: f64) {
        self.parts.push((role, kind.wrap(text, WIDTH - 26.0), kind, above));
    }

    fn print(self, flow: &mut Flow, hue: &'static str, wash: &'static str) {
        let ground = |flow: &mut Flow, height: f64| {
            flow.fill((LEFT, flow.y, WIDTH, height + 0.1), wash);
            flow.fill((LEFT, flow.y, 3.5, height + 0.1), hue);
        };
        let height: f64 =
            self.parts.iter().map(|(_, lines, kind, above)| above + lines.len() as f64 * kind.leading).sum();
        flow.need((height + Self::END).min(PAGE.1 / 2.0));
        for (role, lines, kind, above) in self.parts {
            let node = flow.tree.add(None, role);
            ground(flow, above);
            flow.y += above;
            for line in lines {
                flow.need(kind.leading + Self::END);
                ground(flow, kind.leading);
                flow.text(Some(node), (LEFT + 14.0, flow.y), &line, kind);
                flow.y += kind.leading;
            }
        }
        ground(flow, Self::END);
        flow.y += Self::END + 6.0;
    }
}

fn results(flow: &mut Flow, sheet: &Sheet) {
    flow.section("Results", 120.0);
    let rule = Type { size: 7.6, leading: 10.2, ..Type::BODY };
    flow.paragraph(&sheet.rule, rule);
    flow.paragraph(phrases::SCALES, Type::SMALL);
    flow.y += 7.0;
    let columns =
        columns([("Requirement", 134.0), ("Measured", 112.0), ("Limits", 90.0), ("Scale", 76.0), ("Decision", 90.0)]);
    flow.need(70.0);
    let mut table = Table::new(flow, &columns);
    for one in &sheet.groups {
        let rows: Vec<[Cell; 5]> = one.rows.iter().map(|row| cells(row, &columns)).collect();
        table.heading(&heading(one), rows.first().map_or(0.0, |cells| row_height(cells)));
        for remark in &one.remarks {
            table.remark(remark, Type::BODY.coloured(look::colour(one.verdict)));
        }
        for cells in &rows {
            table.row(cells);
        }
    }
}

/// What a claim compares.
fn comparison(flow: &mut Flow, sheet: &Sheet) {
    flow.section("As shipped and now", 120.0);
    flow.paragraph(&sheet.rule, Type { size: 7.6, leading: 10.2, ..Type::BODY });
    flow.y += 7.0;
    let columns =
        columns([("Value", 128.0), ("As shipped", 96.0), ("Now", 96.0), ("Change", 100.0), ("E_n", 38.0), ("", 74.0)]);
    flow.need(70.0);
    let mut table = Table::new(flow, &columns);
    for one in &sheet.comparison {
        let [name, shipped, now, change, e_n, told] = &columns;
        let note = match (one.wears, one.note.is_empty()) {
            (false, _) => one.note.clone(),
            (true, true) => "wears".to_owned(),
            (true, false) => format!("wears; {}", one.note),
        };
        let strong = if one.wears { Type::STRONG } else { Type::BODY };
        let hue = Type::STRONG.coloured(look::colour(one.verdict));
        let said = format!("{} {}", look::mark(one.verdict), one.told);
        table.row(&[
            Cell::of(name, &[(&one.name, strong), (&note, Type::SMALL)]),
            Cell::of(shipped, &[(&one.shipped, Type::BODY)]),
            Cell::of(now, &[(&one.now, Type::BODY)]),
            Cell::of(change, &[(&one.change, Type::BODY)]),
            Cell::of(e_n, &[(&one.e_n, Type::BODY)]),
            Cell::of(told, &[(&said, hue)]),
        ]);
    }
}

fn heading(group: &Group) -> Heading {
    let aside = decided(group.verdict);
    let kind = Type::STRONG.coloured(look::colour(group.verdict));
    let extent = face::width(&aside, kind.weight, kind.size);
    let mut lines: Vec<(String, Type)> =
        Type::STRONG.wrap(&group.name, WIDTH - extent - 30.0).into_iter().map(|line| (line, Type::STRONG)).collect();
    if let Some(because) = &group.because {
        lines.extend(Type::SMALL.wrap(because, WIDTH - 10.0).into_iter().map(|line| (line, Type::SMALL)));
    }
    Heading { lines, aside: Some((aside, kind, RIGHT - extent - 6.0)) }
}

fn cells(row: &Row, columns: &[super::table::Column; 5]) -> [Cell; 5] {
    let [name, measured, limits, scale, decision] = columns;
    let decided_kind = Type::STRONG.coloured(look::colour(row.verdict));
    [
        Cell::of(name, &[(&row.name, Type::BODY), (&row.note, Type::SMALL)]),
        Cell::of(measured, &[(&row.value, Type::BODY), (&row.coverage, Type::SMALL)]),
        Cell::of(limits, &[(&row.limits, Type::BODY), (&row.margin, Type::SMALL)]),
        Cell {
            lines: Vec::new(),
            drawing: row.scale.as_ref().map(|svg| CellDrawing {
                svg: svg.clone(),
                says: format!("{} within {}", row.value, row.limits),
                size: (scale.width.min(scale::WIDTH), scale::HEIGHT * scale.width.min(scale::WIDTH) / scale::WIDTH),
            }),
        },
        Cell::of(decision, &[(&decided(row.verdict), decided_kind)]),
    ]
}

fn plots(flow: &mut Flow, sheet: &Sheet) {
    const GAP: f64 = 18.0;
    let width = (WIDTH - GAP) / 2.0;
    let height = width * plot::HEIGHT / plot::WIDTH;
    if sheet.plots.is_empty() {
        return;
    }
    flow.section("Curves of this run", height);
    for pair in sheet.plots.chunks(2) {
        flow.need(height);
        for (index, plot) in pair.iter().enumerate() {
            let says = format!("{}. {}", plot.title, plot.description);
            let node = flow.tree.add(None, Role::Figure { says });
            let frame = (LEFT + index as f64 * (width + GAP), flow.y, width, height);
            flow.put(Some(node), Ink::Drawing { frame, svg: plot.svg.clone() });
        }
        flow.y += height;
        flow.gap(12.0);
    }
}

fn calibrations(flow: &mut Flow, sheet: &Sheet) {
    if sheet.calibrations.is_empty() {
        return;
    }
    flow.section("Calibration of the bench", 50.0);
    let columns = columns([("Channels", 5.0), ("Calibrated", 1.0), ("Holds up to", 1.0)]);
    let mut table = Table::new(flow, &columns);
    for line in &sheet.calibrations {
        let cells: Vec<Cell> =
            columns.iter().zip(line).map(|(column, text)| Cell::of(column, &[(text, Type::BODY)])).collect();
        table.row(&cells);
    }
}

fn cautions(flow: &mut Flow, sheet: &Sheet) {
    const LEAD: f64 = 104.0;
    let set: Vec<(&str, Vec<String>)> =
        sheet.cautions.iter().map(|(what, how)| (*what, Type::BODY.wrap(how, WIDTH - LEAD))).collect();
    let height: f64 = set.iter().map(|(_, lines)| lines.len() as f64 * Type::BODY.leading + 4.0).sum();
    flow.section("Cautions", height);
    for (what, lines) in set {
        let node = flow.tree.add(None, Role::Paragraph);
        flow.fill((LEFT, flow.y + 1.0, 2.0, lines.len() as f64 * Type::BODY.leading - 1.0), look::INK);
        flow.text(Some(node), (LEFT + 9.0, flow.y), what, Type::STRONG);
        flow.y = flow.lines(Some(node), (LEFT + LEAD, flow.y), &lines, Type::BODY) + 4.0;
    }
    flow.gap(4.0);
    flow.need(Type::SMALL.leading);
    flow.paragraph(phrases::END, Type::SMALL);
}

/// What stands on every page: the mark of a simulated run, the running head, the foot with the page's number.
fn furniture(flow: &mut Flow, sheet: &Sheet) {
    let count = flow.pages.len();
    let written = std::mem::take(&mut flow.pages);
    let small = Type { size: 6.2, leading: 8.0, ..Type::SMALL };
    let foot = format!("Run {} · SHA-256 of record.json {}", sheet.run_id, sheet.digest);
    let foot = face::fitted(&face::drawable(&foot), small.weight, small.size, WIDTH - 60.0);
    for (index, page) in written.into_iter().enumerate() {
        flow.pages.push(page);
        if index > 0 {
            running_head(flow, sheet);
        }
        flow.fill((LEFT, PAGE.1 - 38.0, WIDTH, 0.5), look::LINE);
        flow.text(None, (LEFT, PAGE.1 - 34.0), &foot, small);
        let number = format!("page {} of {count}", index + 1);
        let extent = face::width(&number, small.weight, small.size);
        flow.text(None, (RIGHT - extent, PAGE.1 - 34.0), &number, small);
    }
}

fn running_head(flow: &mut Flow, sheet: &Sheet) {
    if let Some(mark) = sheet.simulated {
        strip(flow, None, mark);
    }
    let whole = format!("{} · {} · serial number {}", sheet.maker, sheet.model, sheet.serial);
    let kind = Type::SMALL;
    let said = if sheet.comparison.is_empty() { look::words(sheet.verdict) } else { sheet.headline };
    let aside = format!("{}: {said}", sheet.title);
    let extent = face::width(&aside, kind.weight, kind.size);
    let text = face::fitted(&face::drawable(&whole), kind.weight, kind.size, WIDTH - extent - 20.0);
    flow.text(None, (LEFT, 44.0), &text, kind);
    flow.text(None, (RIGHT - extent, 44.0), &aside, kind);
    flow.fill((LEFT, 55.0, WIDTH, 0.5), look::LINE);
}

fn decided(verdict: Verdict) -> String {
    format!("{} {}", look::mark(verdict), look::words(verdict))
}
