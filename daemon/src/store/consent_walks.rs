//! Ten thousand random orders of compose, claim, STOP, START and send over two instances of one
//! database: after STOP is stored nothing goes but its one confirmation.

use super::testing::{at, consent, on_each, text, twin};
use super::{ConsentState, Handling, Inbound, Queued, Settlement, Store, Text, TextKind};
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::people::RouteName;
use std::hash::{BuildHasher, RandomState};
use std::time::Duration;

/// Sets the dice, so that a walk that failed can be walked again.
const SEED: &str = "FURROWBELL_TEST_SEED";
const WALKS: u64 = 10_000;
const STEPS: u64 = 12;

/// Xorshift64* (Vigna, An experimental exploration of Marsaglia's xorshift generators, 2016).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) % sides
    }
}

fn seed() -> u64 {
    let set = std::env::var(SEED).ok().and_then(|seed| seed.parse().ok());
    set.unwrap_or_else(|| RandomState::new().hash_one(0)).max(1)
}

/// One walk with one person: what was said and what has gone.
struct Walk<'a> {
    instances: &'a [Store; 2],
    person: String,
    now: DateTime<Utc>,
    made: u32,
    stopped: bool,
    /// How often texts were ended after they had been allowed.
    stops: usize,
    confirmed: usize,
    claimed: Vec<(Queued, String)>,
    sent: usize,
}

impl Walk<'_> {
    fn id(&mut self) -> String {
        self.made += 1;
        self.now += TimeDelta::seconds(1);
        format!("{}-{:03}", self.person, self.made)
    }

    fn text(&mut self, kind: TextKind) -> Text {
        let id = self.id();
        Text {
            kind,
            person: self.person.clone(),
            created_at: self.now,
            due_at: self.now,
            expires_at: self.now + TimeDelta::minutes(5),
            ..text(&id)
        }
    }

    async fn step(&mut self, dice: &mut Dice) {
        let on = usize::try_from(dice.roll(2)).unwrap();
        let store = &self.instances[on];
        match dice.roll(7) {
            0 | 1 => {
                let text = self.text(TextKind::Notice);
                store.queue(&text).await.unwrap();
            }
            2 | 3 => {
                let token = self.id();
                let until = self.now + TimeDelta::minutes(2);
                let claimed = store.lease(None, self.now, until, &token, 1).await.unwrap();
                for queued in claimed {
                    let confirms = queued.text.kind == TextKind::StopConfirmation;
                    assert!(!self.stopped || confirms, "claimed after STOP: {queued:?}");
                    self.claimed.push((queued, token.clone()));
                }
            }
            4 => self.says(store, ConsentState::Stop).await,
            5 => self.says(store, ConsentState::Start).await,
            _ if self.claimed.is_empty() => {}
            _ => {
                let at = dice.roll(u64::try_from(self.claimed.len()).unwrap());
                let (queued, token) = self.claimed.swap_remove(usize::try_from(at).unwrap());
                self.send(store, &queued, &token).await;
            }
        }
    }

    async fn says(&mut self, store: &Store, state: ConsentState) {
        let id = self.id();
        let inbound = Inbound {
            id: format!("in-{id}"),
            route: RouteName::Sms,
            provider_id: None,
            sender: "+15155550123".to_owned(),
            body: state.name().to_owned(),
            received_at: self.now,
            handled_at: None,
            outcome: None,
        };
        let mut line = consent(&id, state, self.now);
        line.person.clone_from(&self.person);
        let stop = state == ConsentState::Stop;
        let confirmation = self.text(TextKind::StopConfirmation);
        let handling = Handling {
            consent: Some(line),
            replies: stop.then_some(confirmation).into_iter().collect(),
            outcome: "handled".to_owned(),
            ..Handling::default()
        };
        store.receive(&inbound).await.unwrap();
        assert!(store.handle(&inbound.id, &handling, self.now).await.unwrap());
        self.stops += usize::from(stop && !self.stopped);
        self.stopped = stop;
    }

    /// What a worker does with its claim: one last look, then the route.
    async fn send(&mut self, store: &Store, queued: &Queued, token: &str) {
        let id = &queued.text.id;
        let settlement = match store.blocked_by(id).await.unwrap() {
            Some(_) => Settlement::Held { why: "the person sent STOP".to_owned() },
            None => Settlement::Sent { provider_ids: Vec::new() },
        };
        if matches!(settlement, Settlement::Sent { .. }) {
            let confirms = queued.text.kind == TextKind::StopConfirmation;
            assert!(!self.stopped || confirms, "sent after STOP: {queued:?}");
            self.confirmed += usize::from(confirms);
            assert!(self.confirmed <= self.stops, "one confirmation a STOP");
            self.sent += 1;
        }
        store.settle(id, token, self.now, Duration::ZERO, &settlement).await.unwrap();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn after_stop_nothing_goes_but_its_confirmation_in_any_order() {
    let seed = seed();
    eprintln!("{SEED}={seed}");
    on_each(move |store| async move {
        let instances = [twin(&store).await, store];
        let mut dice = Dice(seed);
        let (mut now, mut sent, mut confirmed) = (at(0), 0, 0);
        for number in 0..WALKS {
            let mut walk = Walk {
                instances: &instances,
                person: format!("p{number}"),
                now,
                made: 0,
                stopped: false,
                stops: 0,
                confirmed: 0,
                claimed: Vec::new(),
                sent: 0,
            };
            for _ in 0..STEPS {
                walk.step(&mut dice).await;
            }
            sent += walk.sent;
            confirmed += walk.confirmed;
            now = walk.now + TimeDelta::minutes(10);
            instances[0].expire_texts(now).await.unwrap();
        }
        assert!(sent > 1_000 && confirmed > 100, "the walks lead somewhere: {sent} {confirmed}");
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stop_stored_by_one_instance_is_in_force_at_the_other_at_once() {
    on_each(|store| async move {
        let other = twin(&store).await;
        for id in ["claimed", "waiting"] {
            store.queue(&text(id)).await.unwrap();
        }
        let claimed = other.lease(None, at(1), at(3), "theirs", 1).await.unwrap();
        assert_eq!(claimed[0].text.id, "claimed");
        assert_eq!(other.blocked_by("claimed").await.unwrap(), None);
        let stop = consent("c1", ConsentState::Stop, at(1));
        store.record_consent(&stop).await.unwrap();
        assert_eq!(other.blocked_by("claimed").await.unwrap(), Some(ConsentState::Stop));
        assert!(other.lease(None, at(2), at(4), "more", 9).await.unwrap().is_empty());
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_stops_at_once_are_confirmed_once() {
    on_each(|store| async move {
        let stores = [twin(&store).await, store];
        let handled: Vec<_> = (0..8_usize)
            .map(|number| {
                let store = stores[number % 2].clone();
                tokio::spawn(async move {
                    let inbound = Inbound {
                        id: format!("in-{number}"),
                        route: RouteName::Sms,
                        provider_id: None,
                        sender: "+15155550123".to_owned(),
                        body: "STOP".to_owned(),
                        received_at: at(0),
                        handled_at: None,
                        outcome: None,
                    };
                    let mut confirmation = text(&format!("t-{number}"));
                    confirmation.kind = TextKind::StopConfirmation;
                    let line = consent(&format!("c-{number}"), ConsentState::Stop, at(0));
                    let handling = Handling {
                        consent: Some(line),
                        replies: vec![confirmation],
                        outcome: "stopped".to_owned(),
                        ..Handling::default()
                    };
                    store.receive(&inbound).await.unwrap();
                    assert!(store.handle(&inbound.id, &handling, at(0)).await.unwrap());
                })
            })
            .collect();
        for one in handled {
            one.await.unwrap();
        }
        assert_eq!(stores[0].ledger().await.unwrap().len(), 8, "every STOP is on record");
        assert_eq!(stores[0].lease(None, at(1), at(3), "k", 9).await.unwrap().len(), 1);
    })
    .await;
}
