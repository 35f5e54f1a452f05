//! A plan as it is written: all that can be said about it without knowing unit and jig.

use super::moves::{DraftMove, MOVES_MAX, read_moves, written_out};
use super::rounds::{self, REPEAT, ROUNDS_EXAMPLE};
use super::rule::{RULE_EXAMPLE, read_rule};
use super::{Envelope, Plan, fit};
use crate::decide::Rule;
use crate::measure::{self, CATALOGUE, Measurand};
use crate::quantity::Tolerance;
use crate::written::{Fields, Mistake, Node, Notes, Place, Problem, Scalar, Source, nearest, read};

/// A plan that is sound by itself. What its moves and requirements mean on a bench is found by [`Draft::fit`].
#[derive(Debug, Clone)]
pub struct Draft {
    pub(super) source: Source,
    pub(super) name: String,
    pub(super) revision: u32,
    pub(super) model: Put<String>,
    pub(super) rule: Rule,
    pub(super) before: Vec<String>,
    pub(super) checks: Vec<DraftCheck>,
}

/// A check as it is written.
#[derive(Debug, Clone)]
pub(super) struct DraftCheck {
    pub(super) name: String,
    pub(super) because: Option<String>,
    pub(super) moves: Vec<DraftMove>,
    /// The most rounds, where the moves are repeated while a value is undecided.
    pub(super) rounds: Option<Put<u32>>,
    pub(super) requirements: Vec<DraftRequirement>,
    pub(super) if_not: Vec<String>,
}

/// A requirement as it is written.
#[derive(Debug, Clone)]
pub(super) struct DraftRequirement {
    pub(super) at: Place,
    pub(super) measurand: &'static Measurand,
    pub(super) tolerance: Tolerance,
    pub(super) rule: Option<Rule>,
    /// Whether it is left out on a jig that lacks its channels.
    pub(super) where_seen: bool,
}

/// A value and where it is written.
#[derive(Debug, Clone)]
pub(super) struct Put<T> {
    pub(super) value: T,
    pub(super) at: Place,
}

/// The key of requirements that hold only where the jig has their channels.
const WHERE_SEEN: &str = "require where seen";

const CHECK_EXAMPLE: &str = "{ name: promised top speed, moves: [ … ], require: { … } }";

impl Draft {
    /// Reads a plan and checks what it says by itself.
    ///
    /// # Errors
    /// All mistakes that were found, in the order of the text.
    pub fn read(source: &Source) -> Result<Self, Vec<Problem>> {
        let notes = Notes::on(source);
        let root = read(&notes);
        let draft = root.as_ref().and_then(|root| whole(root, &notes));
        notes.finish(draft)
    }

    /// Checks the plan against the unit and the jig it is to run on, and resolves levels, names and times.
    ///
    /// # Errors
    /// Everything that this bench could not do, or must not, in the order of the text.
    pub fn fit(&self, envelope: &Envelope) -> Result<Plan, Vec<Problem>> {
        fit::fit(self, envelope)
    }

    /// The plan's name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The model of unit that it is for.
    pub fn model(&self) -> &str {
        &self.model.value
    }
}

fn whole(root: &Node, notes: &Notes) -> Option<Draft> {
    let plan = Fields::of(root, "a plan", "plan: outgoing", notes)?;
    let name = plan.need_word("plan", "outgoing").map(text);
    let revision = plan.need_parsed("revision", "1", revision);
    let model = plan.need_word("model", "dunlin-600").map(|word| Put { value: text(word), at: word.at.clone() });
    let rule = plan.need("decision rule", RULE_EXAMPLE).and_then(|node| read_rule(node, notes));
    let before = plan.words("before", "[ \"Rail level\" ]").into_iter().map(text).collect();
    let checks = plan.need_list("checks", &format!("[ {CHECK_EXAMPLE} ]")).map(|list| {
        if list.items.is_empty() {
            notes.add(
                &list.at,
                "this plan establishes nothing",
                format!("write at least one check: `- {CHECK_EXAMPLE}`"),
            );
        }
        checks(&list.items, notes)
    });
    plan.end();
    let (checks, rule) = (checks?, rule?);
    checks.iter().for_each(|check| rounds::look_at(check, &rule, notes));
    Some(Draft {
        source: notes.source().clone(),
        name: name?,
        revision: revision?,
        model: model?,
        rule,
        before,
        checks,
    })
}

fn checks(items: &[Node], notes: &Notes) -> Vec<DraftCheck> {
    let mut names: Vec<&str> = Vec::new();
    let mut checks = Vec::new();
    let mut moves_so_far = 0usize;
    for item in items {
        let Some(fields) = Fields::of(item, "a check", &format!("- {CHECK_EXAMPLE}"), notes) else { continue };
        if let Some(name) = fields.word("name", "promised top speed") {
            if names.contains(&name.text.trim()) {
                let what = format!("there is an earlier check `{}`", name.text.trim());
                notes.add(&name.at, what, "give every check a name of its own: results are told apart by it");
            }
            names.push(name.text.trim());
        }
        let Some(check) = check(fields) else { continue };
        let rounds = check.rounds.as_ref().map_or(1, |rounds| rounds.value as usize);
        moves_so_far = moves_so_far.saturating_add(written_out(&check.moves).saturating_mul(rounds));
        if moves_so_far > MOVES_MAX {
            let what = format!("with every `repeat` written out, the plan has more than {MOVES_MAX} moves by here");
            notes.add(item.at(), what, "repeat less often, or divide the plan");
            break;
        }
        checks.push(check);
    }
    checks
}

fn check(fields: Fields<'_>) -> Option<DraftCheck> {
    let notes = fields.notes();
    let name = fields.need_word("name", "promised top speed").map(text);
    let because = fields.word("because", "Buyers are promised 90 mm/s.").map(text);
    let moves = fields.need_list("moves", "[ { home: left } ]").map(|list| {
        if list.items.is_empty() {
            notes.add(&list.at, "this check does nothing", "write at least one move, for example `- home: left`");
        }
        read_moves(&list.items, notes)
    });
    let rounds = fields
        .word(REPEAT, ROUNDS_EXAMPLE)
        .and_then(|word| word.understood(notes, rounds::rounds).map(|value| Put { value, at: word.at.clone() }));
    let firm =
        fields.need("require", "{ cruise speed: 90 mm/s ± 5 % }").map(|node| requirements(node, "require", notes));
    let where_seen = fields.node(WHERE_SEEN).map(|node| requirements(node, WHERE_SEEN, notes)).unwrap_or_default();
    let requirements = firm.map(|mut all| {
        for one in where_seen {
            if all.iter().any(|firm| firm.measurand.name == one.measurand.name) {
                let what = format!("`{}` is required in any case already", one.measurand.name);
                notes.add(&one.at, what, "keep one of the two");
            }
            all.push(DraftRequirement { where_seen: true, ..one });
        }
        all
    });
    let if_not = fields.words("if not", "[ \"belt tension\" ]").into_iter().map(text).collect();
    fields.end();
    Some(DraftCheck { name: name?, because, moves: moves?, rounds, requirements: requirements?, if_not })
}

fn requirements(node: &Node, key: &str, notes: &Notes) -> Vec<DraftRequirement> {
    let Node::Map(map) = node else {
        let what = format!("`{key}` wants measurands with their tolerances, but this is {}", node.kind());
        notes.add(node.at(), what, format!("write for example `{key}: {{ cruise speed: 90 mm/s ± 5 % }}`"));
        return Vec::new();
    };
    if map.entries.is_empty() {
        notes.add(&map.at, "this check requires nothing", "write for example `missing steps: at most 0`");
    }
    map.entries.iter().filter_map(|(key, node)| requirement(key, node, notes)).collect()
}

fn requirement(key: &Scalar, node: &Node, notes: &Notes) -> Option<DraftRequirement> {
    let Some(measurand) = measure::find(&key.text) else {
        let right = match nearest(&key.text, CATALOGUE.iter().map(|measurand| measurand.name)) {
            Some(name) => format!("did you mean `{name}`?"),
            None => {
                let names: Vec<&str> = CATALOGUE.iter().map(|measurand| measurand.name).collect();
                format!("the measurands are {}", names.join(", "))
            }
        };
        notes.add(&key.at, format!("there is no measurand `{}`", key.text), right);
        return None;
    };
    let dimension = measurand.dimension;
    let at = key.at.clone();
    match node {
        Node::Scalar(word) => {
            let tolerance = word.understood(notes, |text| Tolerance::parse(text, dimension))?;
            Some(DraftRequirement { at, measurand, tolerance, rule: None, where_seen: false })
        }
        Node::Map(_) => {
            // Examples are several in one text, each between marks of its own.
            let examples = dimension.tolerance_example();
            let tolerance = examples.split('`').next().unwrap_or(&examples);
            let example = format!("{{ tolerance: {tolerance}, decision rule: simple acceptance }}");
            let fields = Fields::of(node, &format!("`{}`", measurand.name), &example, notes)?;
            let tolerance = fields.need_parsed("tolerance", tolerance, |text| Tolerance::parse(text, dimension));
            let rule = fields.need("decision rule", "simple acceptance").and_then(|node| read_rule(node, notes));
            fields.end();
            Some(DraftRequirement { at, measurand, tolerance: tolerance?, rule: Some(rule?), where_seen: false })
        }
        other => {
            let what = format!("`{}` wants a tolerance, but this is {}", measurand.name, other.kind());
            notes.add(other.at(), what, format!("write for example `{}`", dimension.tolerance_example()));
            None
        }
    }
}

fn text(word: &Scalar) -> String {
    word.text.trim().to_owned()
}

fn revision(text: &str) -> Result<u32, Mistake> {
    text.parse().map_err(|_| {
        Mistake::new(format!("`{text}` is no revision"), "write a whole number, for example `revision: 3`")
    })
}
