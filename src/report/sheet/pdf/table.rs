//! Tables that go over pages: the head is repeated, a row stays whole, a heading row stays with the row below it.

use super::flow::{Flow, Ink, LEFT, RIGHT, Type};
use super::tree::{NodeId, Role};
use crate::report::look;

/// Room above and below a row's text.
const AIR: f64 = 3.2;
/// Room between columns.
const GUTTER: f64 = 8.0;

/// A column: its left edge, its width, its head.
pub struct Column {
    pub left: f64,
    pub width: f64,
    pub head: &'static str,
}

/// What stands in a cell, below each other.
#[derive(Default)]
pub struct Cell {
    pub lines: Vec<(String, Type)>,
    pub drawing: Option<CellDrawing>,
}

/// A small drawing in a cell.
pub struct CellDrawing {
    pub svg: String,
    pub says: String,
    pub size: (f64, f64),
}

impl Cell {
    /// Texts wrapped to a column; empty ones are left out.
    pub fn of(column: &Column, texts: &[(&str, Type)]) -> Self {
        let lines = texts
            .iter()
            .filter(|(text, _)| !text.is_empty())
            .flat_map(|(text, kind)| kind.wrap(text, column.width).into_iter().map(|line| (line, *kind)))
            .collect();
        Self { lines, drawing: None }
    }

    fn height(&self) -> f64 {
        let text: f64 = self.lines.iter().map(|(_, kind)| kind.leading).sum();
        text.max(self.drawing.as_ref().map_or(0.0, |drawing| drawing.size.1))
    }
}

/// Height of a row of such cells.
pub fn row_height(cells: &[Cell]) -> f64 {
    cells.iter().map(Cell::height).fold(0.0, f64::max) + 2.0 * AIR
}

/// A row over all columns, on a ground of its own.
pub struct Heading {
    pub lines: Vec<(String, Type)>,
    /// Written at the right end of the first line.
    pub aside: Option<(String, Type, f64)>,
}

impl Heading {
    /// Its height.
    pub fn height(&self) -> f64 {
        self.lines.iter().map(|(_, kind)| kind.leading).sum::<f64>() + 2.0 * AIR
    }
}

/// A table being printed.
pub struct Table<'a> {
    flow: &'a mut Flow,
    columns: &'a [Column],
    body: NodeId,
}

impl<'a> Table<'a> {
    /// Prints the head.
    pub fn new(flow: &'a mut Flow, columns: &'a [Column]) -> Self {
        let table = flow.tree.add(None, Role::Table);
        let head = flow.tree.add(Some(table), Role::TableHead);
        let row = flow.tree.add(Some(head), Role::Row);
        let cells: Vec<NodeId> = columns.iter().map(|_| flow.tree.add(Some(row), Role::ColumnHead)).collect();
        let body = flow.tree.add(Some(table), Role::TableBody);
        let mut table = Self { flow, columns, body };
        table.head(Some(&cells));
        table
    }

    /// Prints a row; its first cell heads it.
    pub fn row(&mut self, cells: &[Cell]) {
        self.room_for(row_height(cells));
        let row = self.flow.tree.add(Some(self.body), Role::Row);
        let top = self.flow.y;
        for (index, (cell, column)) in cells.iter().zip(self.columns).enumerate() {
            let role = if index == 0 { Role::RowHead { columns: 1 } } else { Role::Cell { columns: 1 } };
            let node = self.flow.tree.add(Some(row), role);
            let mut y = top + AIR;
            for (line, kind) in &cell.lines {
                self.flow.text(Some(node), (column.left, y), line, *kind);
                y += kind.leading;
            }
            if let Some(drawing) = &cell.drawing {
                let figure = self.flow.tree.add(Some(node), Role::Figure { says: drawing.says.clone() });
                let frame = (column.left, top + AIR - 1.0, drawing.size.0, drawing.size.1);
                self.flow.put(Some(figure), Ink::Drawing { frame, svg: drawing.svg.clone() });
            }
        }
        self.flow.y = top + row_height(cells);
        self.flow.rule(look::GRID, 0.6);
    }

    /// Prints a heading row; `follows` is the height of the row that must stay with it.
    pub fn heading(&mut self, heading: &Heading, follows: f64) {
        self.room_for(heading.height() + follows);
        let columns = self.columns.len() as u32;
        let node = self.spanning(Role::RowHead { columns });
        let top = self.flow.y;
        self.flow.fill((LEFT, top, RIGHT - LEFT, heading.height()), look::WASH);
        let mut y = top + AIR;
        for (line, kind) in &heading.lines {
            self.flow.text(Some(node), (LEFT + 5.0, y), line, *kind);
            y += kind.leading;
        }
        if let Some((text, kind, left)) = &heading.aside {
            self.flow.text(Some(node), (*left, top + AIR), text, *kind);
        }
        self.flow.y = top + heading.height();
    }

    /// Prints a remark over all columns.
    pub fn remark(&mut self, text: &str, kind: Type) {
        let lines = kind.wrap(text, RIGHT - LEFT - 10.0);
        let height = lines.len() as f64 * kind.leading + 2.0 * AIR;
        self.room_for(height);
        let columns = self.columns.len() as u32;
        let node = self.spanning(Role::Cell { columns });
        self.flow.lines(Some(node), (LEFT + 5.0, self.flow.y + AIR), &lines, kind);
        self.flow.y += height;
        self.flow.rule(look::GRID, 0.6);
    }

    fn spanning(&mut self, role: Role) -> NodeId {
        let row = self.flow.tree.add(Some(self.body), Role::Row);
        self.flow.tree.add(Some(row), role)
    }

    fn room_for(&mut self, height: f64) {
        if self.flow.need(height) {
            self.head(None);
        }
    }

    /// The head; without nodes where it is only repeated.
    fn head(&mut self, nodes: Option<&[NodeId]>) {
        let kind = Type { weight: crate::report::face::Weight::SemiBold, colour: look::INK, ..Type::SMALL };
        let top = self.flow.y;
        for (index, column) in self.columns.iter().enumerate() {
            self.flow.text(nodes.map(|nodes| nodes[index]), (column.left, top), column.head, kind);
        }
        self.flow.y = top + kind.leading + 3.0;
        self.flow.rule(look::INK, 0.9);
        self.flow.y += 0.9;
    }
}

/// Columns over the whole width, each taking its share.
pub fn columns<const COUNT: usize>(heads: [(&'static str, f64); COUNT]) -> [Column; COUNT] {
    let total: f64 = heads.iter().map(|(_, share)| share).sum();
    let mut left = LEFT + 5.0;
    heads.map(|(head, share)| {
        let room = (RIGHT - LEFT - 5.0) * share / total;
        let column = Column { left, width: room - GUTTER, head };
        left += room;
        column
    })
}
