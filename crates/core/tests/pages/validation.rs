//! The part of `docs/validation.md` that the published cases fill.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use crate::cases::{Kind, Outcome, Tolerance};

/// Name of its place in the page.
pub const PLACE: &str = "published";

/// Counts by kind, one line a function and source, and every miss.
///
/// Errors are rounded up to a power of ten, none finer than 1e-12: the last bits differ from machine to machine, and the
/// page must not.
pub fn published(outcomes: &[Outcome]) -> String {
    let mut text = String::from("| kind | cases | within tolerance | decides |\n|---|---|---|---|\n");
    for kind in Kind::ALL {
        let of_kind: Vec<_> = outcomes.iter().filter(|outcome| outcome.case.kind == kind).collect();
        let hits = of_kind.iter().filter(|outcome| !outcome.misses()).count();
        let decides = if kind.decides() { "yes" } else { "no, shown only" };
        let _ = writeln!(text, "| {} | {} | {hits} | {decides} |", kind.word(), of_kind.len());
    }
    text.push_str("\n### Misses\n\n");
    let misses: Vec<_> = outcomes.iter().filter(|outcome| outcome.misses()).collect();
    if misses.is_empty() {
        text.push_str("None.\n");
    }
    for miss in misses {
        let case = &miss.case;
        let got = match &miss.got {
            Ok(figure) => format!("{figure:.6}"),
            Err(why) => format!("none ({why})"),
        };
        let _ = writeln!(
            text,
            "- {} ({}): expected {} {}, got {got}; {}, {}",
            case.name,
            case.inputs,
            case.expected,
            case.unit,
            case.kind.word(),
            case.source
        );
    }
    text.push_str("\n### Each function beside its sources\n\nError: nine tenths of the cases are within the first figure, all within the second; `rel` as a share of the expected figure, `abs` in its unit.\n\n");
    text.push_str("| function | cases | 90 % within | all within | allowed | kind | source |\n|---|---|---|---|---|---|---|\n");
    let mut groups: BTreeMap<(&str, Kind, &str, String), Vec<f64>> = BTreeMap::new();
    for outcome in outcomes {
        let case = &outcome.case;
        let key = (case.name.as_str(), case.kind, case.source.as_str(), allowed(case.tolerance));
        groups.entry(key).or_default().push(outcome.error());
    }
    for ((name, kind, source, allowed), mut errors) in groups {
        errors.sort_by(f64::total_cmp);
        let most = errors[(errors.len() * 9).div_ceil(10) - 1];
        let all = errors.last().copied().unwrap_or_default();
        let _ = writeln!(
            text,
            "| {name} | {} | {} | {} | {allowed} | {} | {} |",
            errors.len(),
            power_of_ten(most),
            power_of_ten(all),
            kind.word(),
            source.replace('|', "\\|")
        );
    }
    text
}

fn allowed(tolerance: Tolerance) -> String {
    match tolerance {
        Tolerance::Absolute(0.0) => "exact".into(),
        Tolerance::Absolute(figure) => format!("{figure:e} abs"),
        Tolerance::Relative(figure) => format!("{figure:e} rel"),
    }
}

/// The least power of ten that is not below an error, from 1e-12.
fn power_of_ten(error: f64) -> String {
    if error <= 1e-12 {
        return "1e-12, or exact".into();
    }
    (-11..=12)
        .find(|power| error <= 10_f64.powi(*power))
        .map_or_else(|| "no figure".into(), |power| format!("1e{power}"))
}
