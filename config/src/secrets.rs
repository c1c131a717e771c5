//! Reading secrets from where the book says they are.

use crate::service::{Database, SecretSource, Service};
use secrecy::{ExposeSecret, SecretString};
use std::path::{Path, PathBuf};

/// Why a secret is not to be had.
#[derive(Debug, thiserror::Error)]
pub enum NoSecret {
    /// Its file cannot be read.
    #[error("the secret file {} cannot be read; check the path and its permissions", .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Its environment variable is not set.
    #[error("the environment variable {name} is not set; the book takes a secret from it")]
    Env {
        /// The variable.
        name: String,
    },
    /// It is there and empty.
    #[error("the secret in {place} is empty")]
    Empty {
        /// File or variable.
        place: String,
    },
}

impl Service {
    /// Reads a secret; relative paths start at the book's folder. White space around it is
    /// dropped, since editors end files with a line break.
    pub fn read_secret(source: &SecretSource, folder: &Path) -> Result<SecretString, NoSecret> {
        let (place, text) = match source {
            SecretSource::File(path) => {
                let path = folder.join(path);
                let text = std::fs::read_to_string(&path)
                    .map_err(|source| NoSecret::File { path: path.clone(), source })?;
                (path.display().to_string(), text)
            }
            SecretSource::Env(name) => {
                let text = std::env::var(name).map_err(|_| NoSecret::Env { name: name.clone() })?;
                (name.clone(), text)
            }
        };
        match text.trim() {
            "" => Err(NoSecret::Empty { place }),
            secret => Ok(SecretString::from(secret)),
        }
    }
}

impl Database {
    /// The URL to open, with a relative `SQLite` path put under the book's folder. It may hold a
    /// password.
    pub fn url(&self, folder: &Path) -> Result<SecretString, NoSecret> {
        let url = match (&self.url_from, &self.url) {
            (Some(source), _) => Service::read_secret(source, folder)?,
            (None, Some(url)) => SecretString::from(url.as_str()),
            (None, None) => return Err(NoSecret::Empty { place: "database".to_owned() }),
        };
        let Some(path) = url.expose_secret().strip_prefix("sqlite:") else { return Ok(url) };
        if path.starts_with(":memory:") {
            return Ok(url);
        }
        let path = folder.join(path.trim_start_matches("//"));
        Ok(SecretString::from(format!("sqlite:{}", path.display())))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn database(url: &str) -> Database {
        Database { url: Some(url.to_owned()), url_from: None }
    }

    fn opened(url: &str) -> String {
        let url = database(url).url(Path::new("/etc/book")).unwrap();
        url.expose_secret().to_owned()
    }

    #[test]
    fn a_relative_database_lies_in_the_book() {
        assert_eq!(opened("sqlite:state/f.db"), "sqlite:/etc/book/state/f.db");
        assert_eq!(opened("sqlite:/var/lib/f.db"), "sqlite:/var/lib/f.db");
        assert_eq!(opened("postgres://f@db/f"), "postgres://f@db/f");
    }

    #[test]
    fn a_secret_file_loses_its_line_break_and_may_not_be_empty() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("token"), "s3\n").unwrap();
        std::fs::write(folder.path().join("empty"), "\n").unwrap();
        let read =
            |name: &str| Service::read_secret(&SecretSource::File(name.into()), folder.path());
        assert_eq!(read("token").unwrap().expose_secret(), "s3");
        assert!(matches!(read("empty"), Err(NoSecret::Empty { .. })));
        assert!(matches!(read("none"), Err(NoSecret::File { .. })));
        let unset = SecretSource::Env("FURROWBELL_TEST_NEVER_SET".to_owned());
        assert!(matches!(Service::read_secret(&unset, folder.path()), Err(NoSecret::Env { .. })));
    }
}
