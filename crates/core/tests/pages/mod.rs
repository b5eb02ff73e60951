//! The written pages of `docs/`: their text from the cases and tables, and the places in them that commands fill.

pub mod tables;
pub mod validation;

/// A page with the text between `<!-- NAME: begin … -->` and `<!-- NAME: end -->` replaced; the rest stays as it is.
///
/// Fails if the page has no such place.
pub fn put(page: &str, name: &str, text: &str) -> Result<String, String> {
    let (before, after) = around(page, name)?;
    Ok(format!("{before}{}\n{after}", text.trim_end()))
}

fn around<'a>(page: &'a str, name: &str) -> Result<(&'a str, &'a str), String> {
    let place = || format!("the page has no place `<!-- {name}: begin -->` … `<!-- {name}: end -->`");
    let begin = page.find(&format!("<!-- {name}: begin")).ok_or_else(place)?;
    let from = begin + page[begin..].find("-->\n").ok_or_else(place)? + "-->\n".len();
    let to = from + page[from..].find(&format!("<!-- {name}: end")).ok_or_else(place)?;
    Ok((&page[..from], &page[to..]))
}
