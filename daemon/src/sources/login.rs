//! User and password for the broker: from the environment or a file, never from the command line, where all can read them.

use anyhow::Context;
use std::path::Path;

/// Variables of the environment that are looked at first.
const USER: &str = "RAISEWATCH_MQTT_USER";
const PASSWORD: &str = "RAISEWATCH_MQTT_PASSWORD";

/// A user and a password.
#[derive(Clone, PartialEq, Eq)]
pub struct Login {
    /// User.
    pub user: String,
    /// Password.
    pub password: String,
}

impl std::fmt::Debug for Login {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Login").field("user", &self.user).finish_non_exhaustive()
    }
}

impl Login {
    /// The login of the environment, else of the kit's `login-file` (relative to `folder`, the kit's); `None` where neither is given.
    ///
    /// Errors: a file that cannot be read, or that holds anything but a user and a password.
    pub fn find(login_file: Option<&str>, folder: &Path) -> anyhow::Result<Option<Login>> {
        if let Ok(user) = std::env::var(USER) {
            let password = std::env::var(PASSWORD).with_context(|| format!("{USER} is set, {PASSWORD} is not"))?;
            return Ok(Some(Login { user, password }));
        }
        let Some(file) = login_file else { return Ok(None) };
        let path = folder.join(file);
        let text = std::fs::read_to_string(&path).with_context(|| format!("login-file {}", path.display()))?;
        Login::parse(&text).with_context(|| format!("login-file {}", path.display())).map(Some)
    }

    /// The first line is the user, the second the password; a password may hold any letter but a line's end.
    fn parse(text: &str) -> anyhow::Result<Login> {
        let mut lines = text.lines();
        match (lines.next(), lines.next(), lines.all(|rest| rest.trim().is_empty())) {
            (Some(user), Some(password), true) if !user.trim().is_empty() && !password.is_empty() => {
                Ok(Login { user: user.trim().to_owned(), password: password.to_owned() })
            }
            _ => anyhow::bail!("expected two lines, the user and the password, found {}", text.lines().count()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_lines_are_a_login() {
        let login = Login::parse("crew\n correct horse\n").unwrap();
        assert_eq!((login.user.as_str(), login.password.as_str()), ("crew", " correct horse"));
        for bad in ["", "crew", "crew\n\n", "\nsecret\n", "a\nb\nc\n"] {
            assert!(Login::parse(bad).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn a_password_is_not_printed() {
        let login = Login { user: "crew".into(), password: "secret".into() };
        assert!(!format!("{login:?}").contains("secret"));
    }
}
