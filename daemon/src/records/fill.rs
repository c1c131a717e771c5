//! What the book, and earlier records of the same applicator, know of a record.

use super::{Item, Missing, Origin, Sheet};
use furrowbell_config::Book;
use furrowbell_config::farms::Field;
use furrowbell_engine::plan::CropKind;

/// An item found without asking: where it belongs, what it says and where it comes from.
pub type Filled = (Missing, String, Origin);

/// All that a record lacks and that is known without asking. `earlier` are records to look up the
/// number of a known applicator in.
pub fn fill(sheet: &Sheet, book: &Book, earlier: &[Sheet]) -> Vec<Filled> {
    let mut found = Vec::new();
    if let Some(field) = book.field(&sheet.application.field) {
        found.extend(of_field(book, field).map(|(item, value)| of_pass(item, value)));
    }
    for one in &sheet.parts {
        if let Some(product) = book.product(&one.part.key) {
            let key = || one.part.key.clone();
            found.push(((key(), Item::Product), product.name.clone(), Origin::Book));
            if let Some(number) = &product.epa_reg {
                found.push(((key(), Item::Epa), number.to_string(), Origin::Book));
            }
        }
    }
    found.extend(applicator(sheet, book, earlier));
    found.retain(|((part, item), _, _)| sheet.item(part, *item).is_none());
    found
}

fn of_pass(item: Item, value: String) -> Filled {
    ((String::new(), item), value, Origin::Book)
}

fn of_field<'a>(book: &'a Book, field: &'a Field) -> impl Iterator<Item = (Item, String)> + 'a {
    let farm = book.farm(&field.farm).map_or(field.farm.as_str(), |farm| farm.name.as_str());
    let (latitude, longitude) = (field.site.latitude.get(), field.site.longitude.get());
    let location = format!("{}, {farm}, at {latitude:.4}, {longitude:.4}", field.name);
    let crop = field.plan.as_ref().map(|plan| match plan.crop.kind() {
        CropKind::Corn => "corn",
        CropKind::Soybean => "soybean",
    });
    let acres = field.acres.get().to_string();
    let known = [(Item::Location, location), (Item::Acres, acres)];
    known.into_iter().chain(crop.map(|crop| (Item::Crop, crop.to_owned())))
}

/// Who reported the pass, if that person is certified, and the number of whoever is named.
fn applicator(sheet: &Sheet, book: &Book, earlier: &[Sheet]) -> Vec<Filled> {
    let Some(name) = sheet.value(Item::Applicator) else {
        let by = book.person(&sheet.application.by);
        let certified = by.and_then(|by| Some((by, by.certification.as_ref()?)));
        return certified.map_or_else(Vec::new, |(by, number)| {
            vec![
                of_pass(Item::Applicator, by.name.clone()),
                of_pass(Item::Certification, number.clone()),
            ]
        });
    };
    let same = |other: &str| other.eq_ignore_ascii_case(name);
    let mut of_book = book.people.iter().filter(|person| same(&person.name));
    if let Some(number) = of_book.find_map(|person| person.certification.as_ref()) {
        return vec![of_pass(Item::Certification, number.clone())];
    }
    let of_name = earlier.iter().filter(|other| other.value(Item::Applicator).is_some_and(same));
    let number = of_name.filter_map(|other| other.value(Item::Certification)).next_back();
    let number = number.map(|number| {
        ((String::new(), Item::Certification), number.to_owned(), Origin::EarlierRecord)
    });
    number.into_iter().collect()
}
