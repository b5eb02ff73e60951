//! Where does one walk for each call, and in which order?

use cowpath_core::herd::Life;

use super::{
    round::{Place, RoundCall},
    view::View,
};

/// Where one walks for a call.
pub fn place(view: &View, life: Option<&Life>, box_name: Option<&str>) -> String {
    match (life, box_name) {
        (Some(life), _) => match life.pen(view.at) {
            Some(pen) => pen_words(pen),
            None => "No pen on record".into(),
        },
        (None, Some(name)) => format!("Box {name}"),
        (None, None) => "Herd".into(),
    }
}

/// A pen that is only a number is called by it; any other has a name of its own, and begins a line.
pub fn pen_words(pen: &str) -> String {
    if pen.chars().all(|letter| letter.is_ascii_digit()) {
        return format!("Pen {pen}");
    }
    let mut letters = pen.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// The calls by place. A place where one must go now comes first; then the farm's own walking order, where it is set;
/// then the place of the most urgent call. Within a place the most urgent and most worth first.
pub fn places(calls: &[RoundCall], walk: &[String]) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    for (index, call) in calls.iter().enumerate() {
        match places.iter_mut().find(|place| place.name == call.place) {
            Some(place) => place.calls.push(index),
            None => places.push(Place { name: call.place.clone(), calls: vec![index] }),
        }
    }
    let order: Vec<String> = walk.iter().map(|pen| pen_words(pen)).collect();
    places.sort_by_key(|place| {
        let now = place.calls.iter().any(|call| calls[*call].urgency == "now");
        (!now, order.iter().position(|pen| *pen == place.name).unwrap_or(order.len()))
    });
    places
}
