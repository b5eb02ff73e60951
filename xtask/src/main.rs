//! Writes the generated pages of `docs/`.

fn main() {}
