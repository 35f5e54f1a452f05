//! What a board may say, byte by byte, and what is made of it.

use proptest::prelude::*;

use super::*;
use crate::capture::SampleChannel;

/// Says frames with ever rising sequence numbers to a listener.
struct Board {
    listener: Listener,
    relation: Relation,
    sequence: u16,
}

impl Board {
    fn introduced() -> Self {
        let mut board = Self { listener: Listener::new(), relation: Relation::new(2e6), sequence: 0 };
        let mut identity = vec![1, 1];
        identity.extend_from_slice(&2_000_000_u32.to_le_bytes());
        identity.extend_from_slice(&1000_u32.to_le_bytes());
        identity.extend_from_slice(&[0b0000_0101, 0x0F, 0x00, 0x01, 0x00, 0x10, 0x00]);
        identity.extend_from_slice(b"board of a test");
        let news = board.say(0x81, &identity);
        assert!(matches!(&news[..], [News::Identity(facts)] if facts.text == "board of a test"), "{news:?}");
        board
    }

    fn started(tick: u32) -> Self {
        let mut board = Self::introduced();
        let mut payload = tick.to_le_bytes().to_vec();
        payload.push(0b0000_0100);
        let news = board.say(0x82, &payload);
        let [News::Arrived(levels), News::Started] = &news[..] else { panic!("{news:?}") };
        assert!(!levels.edges(EdgeChannel::Step)[0].level());
        assert!(levels.edges(EdgeChannel::EncoderA)[0].level());
        assert_eq!(levels.edges(EdgeChannel::Guard).len(), 0);
        board
    }

    fn say(&mut self, kind: u8, payload: &[u8]) -> Vec<News> {
        let mut bytes = Vec::new();
        Frame { kind, sequence: self.sequence, payload: payload.to_vec() }.write(&mut bytes);
        self.sequence = self.sequence.wrapping_add(1);
        self.hear(&bytes, 0)
    }

    fn hear(&mut self, bytes: &[u8], heard: u64) -> Vec<News> {
        let mut news = Vec::new();
        self.listener.hear(bytes, HostTime::from_nanos(heard), &mut self.relation, &mut news);
        news
    }

    /// Says one edge of `step` and gives its tick, or what was lost.
    fn edge(&mut self, tick: u32) -> Result<Tick, Vec<String>> {
        let mut payload = tick.to_le_bytes().to_vec();
        payload.push(0x01);
        let news = self.say(0x83, &payload);
        let [News::Arrived(part)] = &news[..] else { panic!("{news:?}") };
        if part.losses.is_empty() {
            Ok(part.edges(EdgeChannel::Step)[0].tick())
        } else {
            Err(part.losses.iter().map(|loss| loss.what.clone()).collect())
        }
    }
}

#[test]
fn roll_over_is_undone() {
    let mut board = Board::started(0xFFFF_FF00);
    assert_eq!(board.edge(0xFFFF_FFFE), Ok(0xFE));
    assert_eq!(board.edge(0x0000_0002), Ok(0x102));
    let mut low = 2_u32;
    for turn in 1..40_u64 {
        low = low.wrapping_add(0x7000_0000);
        assert_eq!(board.edge(low), Ok(0x102 + turn * 0x7000_0000));
    }
}

#[test]
fn records_are_counted_from_one_another() {
    let mut board = Board::started(1000);
    // 278 ticks, then 1024 ticks later encoder a goes low; 36 bits of a long pause.
    let mut payload = 1100_u32.to_le_bytes().to_vec();
    payload.extend_from_slice(&[0x81 | 0x60, 0x22, 0x84, 0x80, 0x01, 0xF1, 0xFF, 0xFF, 0xFF, 0x7F]);
    let news = board.say(0x83, &payload);
    let [News::Arrived(part)] = &news[..] else { panic!("{news:?}") };
    assert_eq!(part.losses, []);
    let steps: Vec<Tick> = part.edges(EdgeChannel::Step).iter().map(|edge| edge.tick()).collect();
    assert_eq!(steps, [100 + 278, 100 + 278 + 1024 + (1 << 31) - 1]);
    assert_eq!(part.edges(EdgeChannel::EncoderA)[0].tick(), 100 + 278 + 1024);
    assert!(!part.edges(EdgeChannel::EncoderA)[0].level());

    let mut payload = 3000_u32.to_le_bytes().to_vec();
    payload.extend_from_slice(&[0x00, 0x01, 0x20 | 20, 0xC8, 0x01]);
    let news = board.say(0x84, &payload);
    let [News::Arrived(part)] = &news[..] else { panic!("{news:?}") };
    assert_eq!(part.samples(SampleChannel::PackVoltage)[0].code, -1);
    let light = part.samples(SampleChannel::Light(15))[0];
    assert_eq!(light.code, 100);
}

#[test]
fn a_gap_in_the_sequence_is_a_loss() {
    let mut board = Board::started(0);
    assert_eq!(board.edge(10), Ok(10));
    board.sequence += 3;
    let lost = board.edge(20).expect_err("frames are missing");
    expect_test::expect!["3 frames of the board: sequence number jumped from 2 to 6"].assert_eq(&lost[0]);
    assert_eq!(board.edge(30), Ok(30));
}

#[test]
fn sequence_numbers_roll_over_without_a_loss() {
    let mut board = Board::started(0);
    for tick in 0..70_000 {
        assert_eq!(board.edge(tick), Ok(u64::from(tick)));
    }
}

#[test]
fn trouble_of_every_kind_is_a_loss() {
    let edges = |tick: u32, records: &[u8]| [&tick.to_le_bytes()[..], records].concat();
    let cases: [(&str, u8, Vec<u8>); 9] = [
        ("the board ran out of room", 0x88, vec![0, 1, 0, 0, 7, 0]),
        ("unknown type 7F", 0x7F, vec![]),
        ("type 87 with 2 bytes", 0x87, vec![1, 2]),
        ("type 86 with 9 bytes", 0x86, vec![0; 9]),
        ("an output with number 99", 0x85, vec![1, 99, 1, 0, 0, 0, 0]),
        ("an edge that is cut short", 0x83, edges(5000, &[0x80])),
        ("ran back", 0x83, edges(2, &[0x01])),
        ("a sample that is cut short", 0x84, edges(5000, &[0x1F, 0x00])),
        ("never sent", 0x86, vec![9, 0, 0, 0, 0, 0, 0, 0]),
    ];
    for (expected, kind, payload) in cases {
        let mut board = Board::started(0);
        assert_eq!(board.edge(1000), Ok(1000));
        let news = board.say(kind, &payload);
        let [News::Arrived(part)] = &news[..] else { panic!("{expected}: {news:?}") };
        assert!(part.losses.len() == 1 && part.losses[0].what.contains(expected), "{expected}: {:?}", part.losses);
    }
}

#[test]
fn damage_on_the_line_is_a_loss_once_the_board_is_known() {
    let mut stranger = Board { listener: Listener::new(), relation: Relation::new(2e6), sequence: 0 };
    assert_eq!(stranger.hear(b"boot text\r\n\0\x05\0", 0), []);
    let mut board = Board::started(0);
    let news = board.hear(b"\x07garbage\0", 0);
    assert!(matches!(&news[..], [News::Arrived(part)] if part.losses[0].what.contains("from the board")), "{news:?}");
}

#[test]
fn what_the_board_switches_by_itself_is_a_loss() {
    let mut board = Board::started(0);
    let news = board.say(0x85, &[0, 0, 0, 0xD0, 0x07, 0, 0]);
    let switched = Driven { at: 2000, output: OutputChannel::UnitSupply, on: false };
    let [News::Arrived(part)] = &news[..] else { panic!("{news:?}") };
    assert_eq!(part.driven, [switched]);
    assert_eq!(part.losses[0].what, "control of `unit supply`: the board switched it off by itself");
    let news = board.say(0x85, &[7, 3, 1, 0xD0, 0x07, 0, 0]);
    assert!(matches!(&news[..], [News::Arrived(_), News::Switched { request: 7, at: 2000 }]), "{news:?}");
}

#[test]
fn heartbeats_relate_the_clocks_and_show_lost_commands() {
    let mut board = Board::started(500);
    board.listener.beat_sent(3, HostTime::from_nanos(1_000_000));
    let mut bytes = Vec::new();
    Frame { kind: 0x86, sequence: 2, payload: vec![3, 0, 0xF4, 0x0B, 0, 0, 0, 0] }.write(&mut bytes);
    assert_eq!(board.hear(&bytes, 1_200_000), [News::Beat]);
    // Tick 0x0BF4 = 3060 on the board is 2560 since the start, at the middle of the trip.
    assert_eq!(board.relation.tick_at(HostTime::from_nanos(1_100_000)).0, 2560);
    board.sequence = 3;
    board.listener.beat_sent(4, HostTime::from_nanos(2_000_000));
    let mut bytes = Vec::new();
    Frame { kind: 0x86, sequence: 3, payload: vec![4, 0, 0xFC, 0x12, 0, 0, 2, 0] }.write(&mut bytes);
    let news = board.hear(&bytes, 2_200_000);
    let [News::Arrived(part), News::Beat] = &news[..] else { panic!("{news:?}") };
    assert_eq!(part.losses[0].what, "2 frames to the board");
}

proptest! {
    #[test]
    fn any_frame_is_taken_without_a_panic(
        frames in prop::collection::vec((0x80..=0x8A_u8, prop::collection::vec(any::<u8>(), 0..60)), 0..40),
    ) {
        let mut board = Board::started(0);
        for (kind, payload) in frames {
            board.say(kind, &payload);
        }
    }
}

#[test]
fn controls_have_frames_flags_and_levels_of_their_own() {
    let mut board = Board { listener: Listener::new(), relation: Relation::new(2e6), sequence: 0 };
    // Version 1, simulated, controls 1 and 3; ticks and scale; edge channel 0; unit supply; no samples.
    let mut identity = vec![1, 0b0101_0001];
    identity.extend_from_slice(&2_000_000_u32.to_le_bytes());
    identity.extend_from_slice(&1000_u32.to_le_bytes());
    identity.extend_from_slice(&[0b0000_0001, 0x01, 0x00, 0x00, 0x00, 0x00, 0x00]);
    let news = board.say(0x81, &identity);
    let [News::Identity(facts)] = &news[..] else { panic!("{news:?}") };
    let has = EdgeChannel::CONTROLS.map(|channel| facts.has_edges(channel));
    assert_eq!((facts.simulated, has), (true, [true, false, true, false]));

    let mut payload = 1000_u32.to_le_bytes().to_vec();
    payload.extend_from_slice(&[0, 0b0000_0100]);
    let news = board.say(0x82, &payload);
    let [News::Arrived(part), News::Started] = &news[..] else { panic!("{news:?}") };
    assert!(!part.edges(EdgeChannel::Control1)[0].level() && part.edges(EdgeChannel::Control3)[0].level());
    assert!(part.edges(EdgeChannel::Control2).is_empty());

    // Channel 8 goes high with the frame's tick, channel 10 low 4 ticks later; then one that no jig has.
    let mut payload = 1100_u32.to_le_bytes().to_vec();
    payload.extend_from_slice(&[0x01, 0x44, 0x0F]);
    let news = board.say(0x8A, &payload);
    let [News::Arrived(part)] = &news[..] else { panic!("{news:?}") };
    assert_eq!(part.edges(EdgeChannel::Control1), [crate::capture::Edge::new(100, true)]);
    assert_eq!(part.edges(EdgeChannel::Control3), [crate::capture::Edge::new(104, false)]);
    let lost: Vec<&str> = part.losses.iter().map(|loss| loss.what.as_str()).collect();
    assert_eq!(lost, ["an edge of channel 15"]);
    // Controls and other edges need not wait for one another.
    assert_eq!(board.edge(1050), Ok(50));
}
