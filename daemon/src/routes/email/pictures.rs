//! Pictures inside an HTML part. The record keeps them in the page itself, as `data:` addresses
//! (RFC 2397), so that it shows anywhere; mail programs want them as parts of their own.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

const BEGINS: &str = "src=\"data:image/png;base64,";

/// A picture that a page names by its Content-ID.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Picture {
    /// Content-ID, without angle brackets.
    pub id: String,
    /// The picture as PNG.
    pub png: Vec<u8>,
}

/// Takes the pictures out of a page and lets it name them by `cid:` addresses (RFC 2392) instead.
/// `id` is what their Content-IDs end with; what is no base64 stays where it is.
pub(super) fn take_out(html: &str, id: &str) -> (String, Vec<Picture>) {
    let (mut page, mut pictures, mut rest) = (String::new(), Vec::new(), html);
    while let Some(at) = rest.find(BEGINS) {
        let (before, from) = rest.split_at(at);
        page.push_str(before);
        let (data, after) = from[BEGINS.len()..].split_once('"').unwrap_or((from, ""));
        if let Ok(png) = STANDARD.decode(data) {
            let id = format!("picture-{}.{id}", pictures.len() + 1);
            page.extend(["src=\"cid:", &id, "\""]);
            pictures.push(Picture { id, png });
            rest = after;
        } else {
            page.push_str(BEGINS);
            rest = &from[BEGINS.len()..];
        }
    }
    page.push_str(rest);
    (page, pictures)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_page_names_its_pictures_instead_of_holding_them() {
        let html = "<img src=\"data:image/png;base64,AAEC\" alt=\"x\"> &amp; \
                    <img src=\"data:image/png;base64,/w==\">";
        let (page, pictures) = take_out(html, "7@desk.test");
        assert_eq!(
            page,
            "<img src=\"cid:picture-1.7@desk.test\" alt=\"x\"> &amp; \
             <img src=\"cid:picture-2.7@desk.test\">"
        );
        let expected = [("1", vec![0, 1, 2]), ("2", vec![255])]
            .map(|(n, png)| Picture { id: format!("picture-{n}.7@desk.test"), png });
        assert_eq!(pictures, expected);
    }

    proptest! {
        #[test]
        fn a_page_without_pictures_stays_as_it_is(html in "[ -~]{0,80}", cut in "[!-~]{0,9}") {
            prop_assert_eq!(take_out(&html, "x").0, html.as_str());
            let broken = format!("{html}{BEGINS}?{cut}");
            prop_assert_eq!(take_out(&broken, "x").0, broken.as_str());
        }

        #[test]
        fn pictures_come_out_as_they_went_in(
            pictures in proptest::collection::vec(proptest::collection::vec(any::<u8>(), 1..60), 0..4)
        ) {
            let shown = |png| format!("<p><img {BEGINS}{}\"></p>", STANDARD.encode(png));
            let html = pictures.iter().map(shown).collect::<Vec<_>>().concat();
            let (page, found) = take_out(&html, "x");
            prop_assert!(!page.contains("data:"));
            prop_assert_eq!(found.into_iter().map(|one| one.png).collect::<Vec<_>>(), pictures);
        }
    }
}
