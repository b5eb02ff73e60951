//! One value as a tree that borrows its text; each property knows whether anybody asked for it.
//!
//! What the reader never asks for is "not used", whatever it is: so no list of used properties can go stale.

use std::{borrow::Cow, cell::Cell, fmt};

use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};

use super::quick;

/// A JSON value.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Node<'a> {
    /// `null`; read as absent.
    Null,
    /// `true` or `false`.
    Truth(bool),
    /// A number.
    Number(f64),
    /// A string.
    Text(Cow<'a, str>),
    /// An array.
    List(Vec<Node<'a>>),
    /// An object, in its order.
    Object(Vec<Property<'a>>),
}

/// One property of an object.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Property<'a> {
    /// Its name.
    pub name: Cow<'a, str>,
    /// Its value.
    pub value: Node<'a>,
    /// Somebody asked for it.
    used: Cell<bool>,
}

impl<'a> Property<'a> {
    /// One that nobody has asked for.
    pub fn new(name: Cow<'a, str>, value: Node<'a>) -> Property<'a> {
        Property { name, value, used: Cell::new(false) }
    }
}

impl<'a> Node<'a> {
    /// The value of a property, if it is there and not `null`; notes that it was asked for.
    pub fn get(&self, name: &str) -> Option<&Node<'a>> {
        let Node::Object(properties) = self else { return None };
        let property = properties.iter().find(|property| property.name == name)?;
        property.used.set(true);
        (!matches!(property.value, Node::Null)).then_some(&property.value)
    }

    /// Marks a property and all below it as known and of no use.
    pub fn let_be(&self, name: &str) {
        if let Some(value) = self.get(name) {
            value.use_all();
        }
    }

    /// Marks all below it as known.
    pub fn use_all(&self) {
        match self {
            Node::List(values) => values.iter().for_each(Node::use_all),
            Node::Object(properties) => {
                for property in properties {
                    property.used.set(true);
                    property.value.use_all();
                }
            }
            _ => {}
        }
    }

    /// The names of properties that nobody asked for, with those they stand in: `quarterMilkings.xposition`. Of a
    /// property that was not asked for, those below it are not named. A `null` says nothing. `within` is the room in which
    /// the names are put together, and is as before when this ends.
    pub fn unused(&self, within: &mut String, tell: &mut dyn FnMut(&str)) {
        match self {
            Node::List(values) => values.iter().for_each(|value| value.unused(within, tell)),
            Node::Object(properties) => {
                for property in properties {
                    let nested = matches!(property.value, Node::List(_) | Node::Object(_));
                    if (property.used.get() && !nested) || matches!(property.value, Node::Null) {
                        continue;
                    }
                    let before = within.len();
                    if before != 0 {
                        within.push('.');
                    }
                    within.push_str(&property.name);
                    if property.used.get() {
                        property.value.unused(within, tell);
                    } else {
                        tell(within);
                    }
                    within.truncate(before);
                }
            }
            _ => {}
        }
    }

    /// The name of a kind of value, with its article.
    pub fn kind(&self) -> &'static str {
        match self {
            Node::Null => "null",
            Node::Truth(_) => "true or false",
            Node::Number(_) => "a number",
            Node::Text(_) => "a text",
            Node::List(_) => "a list",
            Node::Object(_) => "an object",
        }
    }

    /// The value as an issue shows it.
    pub fn shown(&self) -> String {
        match self {
            Node::Null => "null".into(),
            Node::Truth(truth) => truth.to_string(),
            Node::Number(figure) => figure.to_string(),
            Node::Text(text) => text.to_string(),
            Node::List(_) => "[…]".into(),
            Node::Object(_) => "{…}".into(),
        }
    }
}

/// The error text of a property named twice; the parser hands it on with its place.
pub(crate) const TWICE: &str = "is named twice in one object";

/// Parses one value.
///
/// # Errors
/// As the parser says it; a property that is named twice is one, for nobody can tell which of the two is meant.
pub(crate) fn parse(text: &[u8]) -> Result<Node<'_>, serde_json::Error> {
    // Letters are looked at once for the whole value and not text by text.
    match std::str::from_utf8(text).ok().and_then(quick::parse) {
        Some(node) => Ok(node),
        None => parse_slowly(text),
    }
}

/// The same by the parser proper, whatever it is.
pub(crate) fn parse_slowly(text: &[u8]) -> Result<Node<'_>, serde_json::Error> {
    serde_json::from_slice(text)
}

impl<'de> Deserialize<'de> for Node<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Node<'de>, D::Error> {
        deserializer.deserialize_any(Builder)
    }
}

struct Builder;

impl<'de> Visitor<'de> for Builder {
    type Value = Node<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }
    fn visit_unit<E>(self) -> Result<Node<'de>, E> {
        Ok(Node::Null)
    }
    fn visit_bool<E>(self, truth: bool) -> Result<Node<'de>, E> {
        Ok(Node::Truth(truth))
    }
    fn visit_f64<E>(self, figure: f64) -> Result<Node<'de>, E> {
        // No negative zero: it would be a second way to write 0.
        Ok(Node::Number(figure + 0.0))
    }
    fn visit_u64<E>(self, figure: u64) -> Result<Node<'de>, E> {
        Ok(Node::Number(figure as f64))
    }
    fn visit_i64<E>(self, figure: i64) -> Result<Node<'de>, E> {
        Ok(Node::Number(figure as f64))
    }
    fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Node<'de>, E> {
        Ok(Node::Text(Cow::Borrowed(text)))
    }
    fn visit_str<E>(self, text: &str) -> Result<Node<'de>, E> {
        Ok(Node::Text(Cow::Owned(text.to_owned())))
    }
    fn visit_string<E>(self, text: String) -> Result<Node<'de>, E> {
        Ok(Node::Text(Cow::Owned(text)))
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Node<'de>, A::Error> {
        let mut values = Vec::new();
        while let Some(value) = list.next_element()? {
            values.push(value);
        }
        Ok(Node::List(values))
    }
    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Node<'de>, A::Error> {
        let mut properties: Vec<Property<'de>> = Vec::with_capacity(4);
        // Of an object with few properties each is compared; a large one is looked at once it is whole.
        while let Some(Name(name)) = map.next_key::<Name<'de>>()? {
            let twice = properties.len() < FEW && properties.iter().any(|property| property.name == name);
            if twice {
                return Err(serde::de::Error::custom(format_args!("`{name}` {TWICE}")));
            }
            properties.push(Property::new(name, map.next_value()?));
        }
        if FEW <= properties.len() {
            let mut names: Vec<&str> = properties.iter().map(|property| &*property.name).collect();
            names.sort_unstable();
            if let Some(pair) = names.windows(2).find(|pair| pair[0] == pair[1]) {
                return Err(serde::de::Error::custom(format_args!("`{}` {TWICE}", pair[0])));
            }
        }
        Ok(Node::Object(properties))
    }
}

/// Properties up to which comparing each with each is the quickest.
pub(crate) const FEW: usize = 48;

/// The name of a property, borrowed where it holds no escapes.
struct Name<'a>(Cow<'a, str>);

impl<'de> Deserialize<'de> for Name<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Name<'de>, D::Error> {
        struct Borrow;
        impl<'de> Visitor<'de> for Borrow {
            type Value = Name<'de>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("the name of a property")
            }
            fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Name<'de>, E> {
                Ok(Name(Cow::Borrowed(text)))
            }
            fn visit_str<E>(self, text: &str) -> Result<Name<'de>, E> {
                Ok(Name(Cow::Owned(text.to_owned())))
            }
            fn visit_string<E>(self, text: String) -> Result<Name<'de>, E> {
                Ok(Name(Cow::Owned(text)))
            }
        }
        deserializer.deserialize_str(Borrow)
    }
}
