//! The right word that a misspelt one is nearest to.

/// The one of `known` that `word` is most likely meant to be, or `None` when it resembles none of them.
///
/// Case and the three ways to join words (blank, hyphen, underscore) are no difference. Nearness is the number of edits
/// (optimal string alignment); a third of the letters may differ.
pub fn nearest<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let word = plain(word);
    known
        .into_iter()
        .map(|candidate| (edits(&word, &plain(candidate)), candidate))
        .filter(|&(edits, candidate)| edits <= candidate.chars().count().max(word.chars().count()).div_ceil(3))
        .min_by_key(|&(edits, _)| edits)
        .map(|(_, candidate)| candidate)
}

fn edits(word: &str, candidate: &str) -> usize {
    strsim::osa_distance(word, candidate)
}

fn plain(word: &str) -> String {
    word.trim().to_lowercase().replace(['-', '_'], " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_are_understood_and_strangers_are_not() {
        let known = ["cruise speed", "cruise current", "missing steps", "stop distance"];
        assert_eq!(nearest("criuse speed", known), Some("cruise speed"));
        assert_eq!(nearest("Missing_Steps", known), Some("missing steps"));
        assert_eq!(nearest("stop-distnce", known), Some("stop distance"));
        assert_eq!(nearest("colour", known), None);
        assert_eq!(nearest("", known), None);
    }
}
