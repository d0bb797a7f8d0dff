//! User and password of a broker: from the environment or a file, never from the command line, where everybody on the
//! machine can read them.

use std::path::{Path, PathBuf};

/// The environment's user; goes before the kit's file.
pub const USER: &str = "RAISEWATCH_MQTT_USER";
/// The environment's password.
pub const PASSWORD: &str = "RAISEWATCH_MQTT_PASSWORD";

/// User and password. The password is never printed.
#[derive(Clone, PartialEq, Eq)]
pub struct Login {
    /// User.
    pub user: String,
    /// Password.
    pub password: String,
}

impl std::fmt::Debug for Login {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Login {{ user: {:?}, password: (kept back) }}", self.user)
    }
}

/// Why there is no login although one is meant.
#[derive(Debug, thiserror::Error)]
pub enum LoginFault {
    /// The file cannot be read.
    #[error("login file {file}: {fault}", file = .file.display())]
    Unreadable {
        /// Which file.
        file: PathBuf,
        /// Why.
        fault: std::io::Error,
    },
    /// The file is not understood. What it holds is not repeated.
    #[error("login file {file}: expected two lines, `user = \"…\"` and `password = \"…\"` (or the bare user and the bare password), found another form", file = .0.display())]
    NotUnderstood(PathBuf),
    /// One without the other.
    #[error("{0} is set and {1} is not: expected both or neither")]
    Half(&'static str, &'static str),
}

impl Login {
    /// The login of the environment, else of the kit's `login-file` (a path relative to `folder`, the kit's own), else none.
    pub fn find(login_file: Option<&str>, folder: &Path) -> Result<Option<Login>, LoginFault> {
        let set = |name| std::env::var(name).ok().filter(|text| !text.is_empty());
        match (set(USER), set(PASSWORD), login_file) {
            (Some(user), Some(password), _) => Ok(Some(Login { user, password })),
            (Some(_), None, _) => Err(LoginFault::Half(USER, PASSWORD)),
            (None, Some(_), _) => Err(LoginFault::Half(PASSWORD, USER)),
            (None, None, None) => Ok(None),
            (None, None, Some(file)) => Login::read(&folder.join(file)).map(Some),
        }
    }

    /// Reads a login file.
    pub fn read(file: &Path) -> Result<Login, LoginFault> {
        let text = std::fs::read_to_string(file).map_err(|fault| LoginFault::Unreadable { file: file.to_owned(), fault })?;
        Login::parse(&text).ok_or_else(|| LoginFault::NotUnderstood(file.to_owned()))
    }

    fn parse(text: &str) -> Option<Login> {
        let lines: Vec<&str> = text.lines().filter(|line| !line.trim().is_empty() && !line.starts_with('#')).collect();
        let (user, password) = match lines[..] {
            [user, password] if is_keyed(user, "user") => (keyed(user, "user")?, keyed(password, "password")?),
            [user, password] => (user.trim(), password),
            [one] => one.split_once(':')?,
            _ => return None,
        };
        (!user.is_empty()).then(|| Login { user: user.to_owned(), password: password.to_owned() })
    }
}

/// Whether a line begins with `key =`.
fn is_keyed(line: &str, key: &str) -> bool {
    line.trim().strip_prefix(key).is_some_and(|rest| rest.trim_start().starts_with('='))
}

/// The text of a line `key = "text"`.
fn keyed<'a>(line: &'a str, key: &str) -> Option<&'a str> {
    let value = line.trim().strip_prefix(key)?.trim_start().strip_prefix('=')?.trim();
    value.strip_prefix('"')?.strip_suffix('"').filter(|text| !text.contains(['"', '\\']))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_of_a_login_file() {
        let check = |text: &str, expected: Option<(&str, &str)>| {
            let got = Login::parse(text);
            assert_eq!(got.as_ref().map(|l| (l.user.as_str(), l.password.as_str())), expected, "{text:?}");
        };
        check("user = \"crew\"\npassword = \"a b:c\"\n", Some(("crew", "a b:c")));
        check("# for the hall\r\ncrew\r\n pass word \r\n", Some(("crew", " pass word ")));
        check("crew:s3:cret\n", Some(("crew", "s3:cret")));
        for bad in ["", "crew", "a\nb\nc\n", "user = \"crew\"\npass = \"x\"", "user = \"\"\npassword = \"x\"", ":x", "user = \"a\nb\""] {
            check(bad, None);
        }
    }

    #[test]
    fn faults_name_the_file_and_never_the_password() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("broker.login"), "a\nsecret\nb\n").unwrap();
        let told = Login::find(Some("broker.login"), folder.path()).unwrap_err().to_string();
        assert!(told.contains("broker.login") && told.contains("two lines") && !told.contains("secret"), "{told}");
        let told = Login::find(Some("none.login"), folder.path()).unwrap_err().to_string();
        assert!(told.contains("none.login"), "{told}");
        let login = Login { user: "crew".into(), password: "secret".into() };
        assert!(!format!("{login:?}").contains("secret"));
    }
}
