//! The decision rule as a plan writes it: `simple acceptance`, or one key with its number. A requirement may have one of its
//! own.

use super::words::quantity;
use crate::decide::Rule;
use crate::quantity::Dimension;
use crate::written::{Fields, Mistake, Node, Notes, Scalar, nearest};

/// How a rule is written, for messages.
pub(super) const RULE_EXAMPLE: &str = "{ false accept at most: 2.5 % }";

/// The smallest risk that can be asked for: nobody knows the tails of a distribution beyond it.
const RISK_MIN: f64 = 1e-6;
/// The widest guard band, in U.
const FACTOR_MAX: f64 = 5.0;

const SIMPLE: &str = "simple acceptance";
const GUARD_BAND: &str = "guard band";
const FALSE_ACCEPT: &str = "false accept at most";
const FALSE_REJECT: &str = "false reject at most";

/// Reads what stands under `decision rule`.
pub(super) fn read_rule(node: &Node, notes: &Notes) -> Option<Rule> {
    if let Node::Scalar(word) = node {
        return by_name(word, notes);
    }
    let fields = Fields::of(node, "`decision rule`", &format!("decision rule: {RULE_EXAMPLE}"), notes)?;
    let rules = [
        fields.parsed(GUARD_BAND, "1 U", factor).map(|factor| Rule::GuardBand { factor }),
        fields
            .parsed(FALSE_ACCEPT, "2.5 %", |text| risk(text, "acceptance"))
            .map(|at_most| Rule::FalseAccept { at_most }),
        fields
            .parsed(FALSE_REJECT, "2.5 %", |text| risk(text, "rejection"))
            .map(|at_most| Rule::FalseReject { at_most }),
    ];
    let named = [GUARD_BAND, FALSE_ACCEPT, FALSE_REJECT].map(|key| fields.node(key));
    if let Some(second) = named.iter().flatten().nth(1) {
        notes.add(second.at(), "values are decided by one rule, and these are two", "leave one of the two out");
    }
    let Node::Map(map) = node else { return None };
    if map.entries.is_empty() {
        notes.add(&map.at, "this decision rule says nothing", the_rules());
    }
    fields.end();
    rules.into_iter().flatten().next()
}

fn by_name(word: &Scalar, notes: &Notes) -> Option<Rule> {
    word.understood(notes, |text| match text {
        SIMPLE => Ok(Rule::SimpleAcceptance),
        GUARD_BAND => Err(Mistake::new("a guard band has a width", "write for example `{ guard band: 1 U }`")),
        FALSE_ACCEPT | FALSE_REJECT => Err(Mistake::new(
            format!("`{text}` wants a probability"),
            format!("write for example `{{ {text}: 2.5 % }}`"),
        )),
        _ => {
            let right = match nearest(text, [SIMPLE, GUARD_BAND, FALSE_ACCEPT, FALSE_REJECT]) {
                Some(meant) => format!("did you mean `{meant}`?"),
                None => the_rules(),
            };
            Err(Mistake::new(format!("there is no decision rule `{text}`"), right))
        }
    })
}

fn the_rules() -> String {
    format!(
        "the rules are `{SIMPLE}`, `{{ {GUARD_BAND}: 1 U }}`, `{{ {FALSE_ACCEPT}: 2.5 % }}` and `{{ {FALSE_REJECT}: 2.5 % }}`"
    )
}

/// A guard band's width: so many times the expanded uncertainty, `U` alone being one.
fn factor(text: &str) -> Result<f64, Mistake> {
    let Some(number) = text.strip_suffix('U').map(str::trim) else {
        let what = format!("`{text}` is no width of a guard band");
        return Err(Mistake::new(what, "write it as a multiple of the expanded uncertainty U, for example `1 U`"));
    };
    let factor = if number.is_empty() { Ok(1.0) } else { quantity(number, Dimension::Count) };
    match factor {
        Ok(factor) if factor > 0.0 && factor <= FACTOR_MAX => Ok(factor),
        Ok(_) => {
            let right = format!("write more than 0 and at most {FACTOR_MAX} U; without any it is `{SIMPLE}`");
            Err(Mistake::new(format!("no guard band is `{text}` wide"), right))
        }
        Err(mistake) => Err(Mistake::new(mistake.what, "write a number before the U, for example `0.83 U`")),
    }
}

fn risk(text: &str, of: &str) -> Result<f64, Mistake> {
    let risk = quantity(text, Dimension::Ratio)?;
    if (RISK_MIN..0.5).contains(&risk) {
        return Ok(risk);
    }
    let what = format!("a false {of} cannot be accepted with a probability of `{text}`");
    Err(Mistake::new(what, "write at least 0.0001 % and less than 50 %; 2.5 % and 5 % are usual"))
}
