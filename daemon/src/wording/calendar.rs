//! What an advisor's calendar says of a window.

use super::Wording;
use furrowbell_config::people::Language;
use minijinja::context;

/// A span of days that is worth a place in a calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Window {
    /// The post pass.
    Post,
    /// The sidedress.
    Sidedress,
    /// The days in which the residual may end.
    Residual,
}

impl Window {
    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Post => "post",
            Self::Sidedress => "sidedress",
            Self::Residual => "residual",
        }
    }
}

impl Wording {
    /// Summary and details of a field's window; `place` names farm and field.
    pub fn window(
        &self,
        language: Language,
        window: Window,
        (farm, field): (&str, &str),
        crop_is_corn: bool,
    ) -> (String, String) {
        let crop = if crop_is_corn { "crops.corn" } else { "crops.soybean" };
        let crop = self.say(language, crop, context! {});
        let slots = context! { farm, field, crop };
        let say = |key: &str| self.say(language, &format!("digest.{key}"), slots.clone());
        (say(&format!("window_{}", window.name())), say("window_details"))
    }
}

impl Wording {
    /// A phrase of the page on which an advisor leaves the digest, safe to stand in HTML.
    pub fn mail_page(&self, language: Language, key: &str, sender: &str) -> String {
        let phrase = self.say(language, &format!("digest.{key}"), context! { sender });
        phrase.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
    }
}
