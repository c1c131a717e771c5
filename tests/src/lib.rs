//! What the stories share: the built binary, a gateway, a weather service, books on disk.

pub mod binary;
pub mod books;
pub mod databases;
pub mod gateway;
pub mod homeserver;
pub mod peer;
pub mod weather_service;

use std::time::{Duration, Instant};

/// Looks again and again until `look` gives something, or panics with `what` after `limit`.
pub async fn wait_for<T>(
    what: &str,
    limit: Duration,
    mut look: impl AsyncFnMut() -> Option<T>,
) -> T {
    let began = Instant::now();
    loop {
        if let Some(found) = look().await {
            return found;
        }
        assert!(began.elapsed() < limit, "waited {limit:?} in vain for {what}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// Makes the project's TLS provider the process's own; reqwest asks for it.
pub fn install_tls() {
    // A second story in the same process finds it installed already.
    let _ = rustls::crypto::ring::default_provider().install_default();
}
