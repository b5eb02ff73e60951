//! Is a document of the exchange standard as its published schemas want it?
//!
//! The schemas lie in the program and refer to each other by relative paths; nothing is fetched. Of JSON Schema this
//! knows the words that these schemas use, and a test holds that they use no other, and that a library written by others
//! gives the same answers. `format` is checked, and what stands beside a reference counts, as both should.

use std::collections::BTreeMap;

use anyhow::{Context as _, anyhow};
use serde_json::Value;

macro_rules! schemas {
    ($($path:literal),+ $(,)?) => {
        /// Path within the standard, and text.
        const SCHEMAS: &[(&str, &str)] = &[$(($path, include_str!(concat!("../../schemas/ade/", $path)))),+];
    };
}

schemas![
    "collections/icarAttentionEventCollection.json",
    "collections/icarReproHeatEventCollection.json",
    "collections/icarResourceCollection.json",
    "enums/icarAttentionCategoryType.json",
    "enums/icarAttentionCauseType.json",
    "enums/icarAttentionPriorityType.json",
    "enums/icarDiagnosisSeverityType.json",
    "enums/icarReproHeatCertaintyType.json",
    "enums/icarReproHeatDetectionMethodType.json",
    "enums/icarReproHeatIntensityType.json",
    "enums/icarReproHeatSignType.json",
    "resources/icarAnimalEventCoreResource.json",
    "resources/icarAttentionEventResource.json",
    "resources/icarEventCoreResource.json",
    "resources/icarReproHeatEventResource.json",
    "resources/icarResource.json",
    "types/icarAnimalIdentifierType.json",
    "types/icarDateTimeType.json",
    "types/icarDeviceReferenceType.json",
    "types/icarDeviceRegistrationIdentifierType.json",
    "types/icarIdentifierType.json",
    "types/icarLocationIdentifierType.json",
    "types/icarMetaDataType.json",
    "types/icarReproHeatWindowType.json",
    "types/icarResourceReferenceType.json",
    "types/icarTraitLabelIdentifierType.json",
];

/// Words of a schema that say nothing about a document: talk, and those of OpenAPI.
const TALK: [&str; 4] = ["description", "$comment", "discriminator", "propertyName"];

/// The schemas, parsed.
pub struct Schemas(BTreeMap<&'static str, Value>);

impl Schemas {
    /// All that lie in the program.
    ///
    /// # Errors
    /// When one is not JSON, which is our fault.
    pub fn load() -> anyhow::Result<Schemas> {
        let parse = |(path, text): &(&'static str, &'static str)| {
            serde_json::from_str(text).map(|schema| (*path, schema)).with_context(|| (*path).to_owned())
        };
        Ok(Schemas(SCHEMAS.iter().map(parse).collect::<anyhow::Result<_>>()?))
    }

    /// The schemas by their paths.
    #[cfg(test)]
    pub fn all(&self) -> impl Iterator<Item = (&'static str, &Value)> {
        self.0.iter().map(|(path, schema)| (*path, schema))
    }

    /// Where a document is not as the schema of a path wants it: place and what is wrong, in the order found.
    ///
    /// # Errors
    /// When a schema is not there or says what is not known here.
    pub fn faults(&self, path: &str, document: &Value) -> anyhow::Result<Vec<String>> {
        let (own, schema) = self.0.get_key_value(path).ok_or_else(|| anyhow!("no schema {path}"))?;
        let mut faults = Vec::new();
        self.check(own, schema, document, &mut String::new(), &mut faults)?;
        Ok(faults)
    }

    fn check(
        &self,
        path: &str,
        schema: &Value,
        value: &Value,
        place: &mut String,
        faults: &mut Vec<String>,
    ) -> anyhow::Result<()> {
        let Value::Object(words) = schema else { return Ok(()) };
        // A word of OpenAPI: such a value may be missing by being null.
        if words.get("nullable") == Some(&Value::Bool(true)) && value.is_null() {
            return Ok(());
        }
        for (word, wanted) in words {
            let mut fault = |what: String| {
                let at = if place.is_empty() { "the document" } else { place.as_str() };
                faults.push(format!("{at}: {what}"));
            };
            match (word.as_str(), wanted) {
                ("nullable", _) => {}
                ("$ref", Value::String(reference)) => {
                    let to = resolved(path, reference);
                    let (to, schema) =
                        self.0.get_key_value(to.as_str()).ok_or_else(|| anyhow!("{path} refers to {to}"))?;
                    self.check(to, schema, value, place, faults)?;
                }
                ("allOf", Value::Array(all)) => {
                    for schema in all {
                        self.check(path, schema, value, place, faults)?;
                    }
                }
                ("type", Value::String(kind)) => {
                    if !is_of(value, kind) {
                        fault(format!("{value} is no {kind}"));
                    }
                }
                ("enum", Value::Array(words)) => {
                    if !words.contains(value) {
                        fault(format!("{value} is none of the standard's words"));
                    }
                }
                ("required", Value::Array(names)) => {
                    for name in names.iter().filter_map(Value::as_str) {
                        if value.as_object().is_some_and(|own| !own.contains_key(name)) {
                            fault(format!("`{name}` is missing"));
                        }
                    }
                }
                ("properties", Value::Object(properties)) => {
                    for (name, schema) in properties {
                        if let Some(own) = value.as_object().and_then(|own| own.get(name)) {
                            let before = place.len();
                            place.push('/');
                            place.push_str(name);
                            self.check(path, schema, own, place, faults)?;
                            place.truncate(before);
                        }
                    }
                }
                ("items", schema) => {
                    for (at, own) in value.as_array().into_iter().flatten().enumerate() {
                        let before = place.len();
                        place.push_str(&format!("/{at}"));
                        self.check(path, schema, own, place, faults)?;
                        place.truncate(before);
                    }
                }
                ("format", Value::String(format)) => {
                    // Integers and doubles are told by `type`; addresses we write none.
                    let is_time = value.as_str().is_none_or(is_date_time);
                    if format == "date-time" && !is_time {
                        fault(format!("{value} is no time of RFC 3339"));
                    }
                }
                (word, _) if TALK.contains(&word) => {}
                (word, _) => return Err(anyhow!("{path} says `{word}`, which is not known here")),
            }
        }
        Ok(())
    }
}

/// The path that a reference leads to from a schema.
fn resolved(from: &str, reference: &str) -> String {
    let mut parts: Vec<&str> = from.split('/').collect();
    parts.pop();
    for part in reference.split('/') {
        match part {
            ".." => {
                parts.pop();
            }
            "." => {}
            part => parts.push(part),
        }
    }
    parts.join("/")
}

fn is_of(value: &Value, kind: &str) -> bool {
    match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "number" => value.is_number(),
        "integer" => value.as_f64().is_some_and(|figure| figure.fract() == 0.0),
        "null" => value.is_null(),
        _ => false,
    }
}

/// RFC 3339: day, `T`, time to the second, offset.
fn is_date_time(text: &str) -> bool {
    let bytes = text.as_bytes();
    let offset = matches!(bytes, [.., b'Z' | b'z'])
        || matches!(bytes, [.., b'+' | b'-', h1, h2, b':', m1, m2] if [h1, h2, m1, m2].iter().all(|digit| digit.is_ascii_digit()));
    let form = matches!(bytes.get(10), Some(b'T' | b't')) && bytes.get(16) == Some(&b':');
    form && offset && text.parse::<jiff::Timestamp>().is_ok()
}

#[cfg(test)]
mod tests;
