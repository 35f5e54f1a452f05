//! The logical structure of the document: what is a heading, a table, a cell, in reading order.

use krilla::tagging::{Identifier, Node, TableHeaderScope, Tag, TagGroup, TagKind, TagTree};
use std::num::{NonZeroU16, NonZeroU32};

/// A node's number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NodeId(usize);

/// What a node is.
#[derive(Debug, Clone)]
pub enum Role {
    Heading {
        level: u16,
        text: String,
    },
    Paragraph,
    Table,
    TableHead,
    TableBody,
    Row,
    /// Heads a column.
    ColumnHead,
    /// Heads a row, or with a span of several columns the rows below it.
    RowHead {
        columns: u32,
    },
    Cell {
        columns: u32,
    },
    Figure {
        says: String,
    },
}

#[derive(Debug)]
enum Child {
    Node(NodeId),
    Content(Identifier),
}

/// The tree in the making.
#[derive(Debug, Default)]
pub struct Tree {
    nodes: Vec<(Role, Vec<Child>)>,
    roots: Vec<NodeId>,
}

impl Tree {
    /// Adds a node below another, or at the top.
    pub fn add(&mut self, parent: Option<NodeId>, role: Role) -> NodeId {
        let node = NodeId(self.nodes.len());
        self.nodes.push((role, Vec::new()));
        match parent {
            Some(NodeId(parent)) => self.nodes[parent].1.push(Child::Node(node)),
            None => self.roots.push(node),
        }
        node
    }

    /// Puts printed content into a node.
    pub fn hold(&mut self, node: NodeId, content: Identifier) {
        self.nodes[node.0].1.push(Child::Content(content));
    }

    /// The finished tree.
    pub fn finish(self) -> TagTree {
        let mut tree = TagTree::new();
        for root in &self.roots {
            if let Some(group) = self.group(*root) {
                tree.push(group);
            }
        }
        tree
    }

    /// A node with all below it; nothing for one without content, except that a table cell may be empty.
    fn group(&self, NodeId(node): NodeId) -> Option<TagGroup> {
        let (role, children) = &self.nodes[node];
        let mut group = TagGroup::new(tag(role));
        let mut is_empty = true;
        for child in children {
            let child: Option<Node> = match child {
                Child::Content(content) => Some((*content).into()),
                Child::Node(node) => self.group(*node).map(Into::into),
            };
            if let Some(child) = child {
                group.push(child);
                is_empty = false;
            }
        }
        (!is_empty || matches!(role, Role::Cell { .. })).then_some(group)
    }
}

fn tag(role: &Role) -> TagKind {
    let spanning = |columns: u32| (columns > 1).then(|| NonZeroU32::new(columns)).flatten();
    match role {
        Role::Heading { level, text } => {
            Tag::Hn(NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN), Some(text.clone())).into()
        }
        Role::Paragraph => Tag::P.into(),
        Role::Table => Tag::Table.into(),
        Role::TableHead => Tag::THead.into(),
        Role::TableBody => Tag::TBody.into(),
        Role::Row => Tag::TR.into(),
        Role::ColumnHead => Tag::TH(TableHeaderScope::Column).into(),
        Role::RowHead { columns } => Tag::TH(TableHeaderScope::Row).with_col_span(spanning(*columns)).into(),
        Role::Cell { columns } => Tag::TD.with_col_span(spanning(*columns)).into(),
        Role::Figure { says } => Tag::Figure(Some(says.clone())).into(),
    }
}
