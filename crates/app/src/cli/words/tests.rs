//! Which command a refused line is told of.

use super::*;

#[test]
fn a_farm_that_bears_the_name_of_a_command_is_none() {
    let of = |line: &str| {
        let args: Vec<String> = line.split(' ').map(str::to_owned).collect();
        command(&Words::command(), &args).cloned()
    };
    assert_eq!(of("cowpath --farm demo intervals --foo").as_deref(), Some("intervals"));
    assert_eq!(of("cowpath --farm=demo intervals --foo").as_deref(), Some("intervals"));
    assert_eq!(of("cowpath demo --foo").as_deref(), Some("demo"));
    assert_eq!(of("cowpath --foo"), None);
}
