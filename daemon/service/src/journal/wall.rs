//! Wall time as RFC 3339 text. It labels rows for people and decides nothing.

use std::time::{SystemTime, UNIX_EPOCH};

/// The wall time now, UTC, to the millisecond.
#[must_use]
pub fn now() -> String {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    // A clock before 1970 is a board without a battery that has not heard the time yet.
    text(since.map_or(0, |d| d.as_millis() as u64))
}

/// RFC 3339 text of a moment in milliseconds since 1970, UTC.
#[must_use]
pub fn text(ms: u64) -> String {
    let (days, ms_of_day) = (ms / 86_400_000, ms % 86_400_000);
    let (year, month, day) = civil(days);
    let (s, ms) = (ms_of_day / 1000, ms_of_day % 1000);
    format!(
        "{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}.{ms:03}Z",
        s / 3600,
        s / 60 % 60,
        s % 60
    )
}

/// Milliseconds since 1970 of a text that [`text`] made; `None` for any other.
#[must_use]
pub fn ms(text: &str) -> Option<u64> {
    let number = |from: usize, to: usize| text.get(from..to)?.parse::<u64>().ok();
    let (year, month, day) = (number(0, 4)?, number(5, 7)?, number(8, 10)?);
    if text.len() != 24 || year < 1970 || !(1..=12).contains(&month) || !(1..=31).contains(&day) {
        return None;
    }
    // Days before a date: years that begin in March, as in `civil`.
    let (march_year, march_month) = if month > 2 {
        (year, month - 3)
    } else {
        (year - 1, month + 9)
    };
    let leap_days = march_year / 4 - march_year / 100 + march_year / 400;
    let days = 365 * march_year + leap_days + (153 * march_month + 2) / 5 + day - 1 - 719_468;
    let (hour, minute, second) = (number(11, 13)?, number(14, 16)?, number(17, 19)?);
    let seconds = ((days * 24 + hour) * 60 + minute) * 60 + second;
    let told = seconds * 1000 + number(20, 23)?;
    // Whatever does not come back as it went in was no such text.
    (self::text(told) == text).then_some(told)
}

/// Year, month and day of a count of days since 1970-01-01, in the Gregorian calendar: whole
/// periods of 400 years first, with years that begin in March so that the leap day comes last.
fn civil(days: u64) -> (u64, u64, u64) {
    let from_march_0 = days + 719_468;
    let (era, day_of_era) = (from_march_0 / 146_097, from_march_0 % 146_097);
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let march_month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * march_month + 2) / 5 + 1;
    let month = if march_month < 10 {
        march_month + 3
    } else {
        march_month - 9
    };
    let year = 400 * era + year_of_era + u64::from(month <= 2);
    (year, month, day)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_moments_are_written_as_the_standard_says() {
        assert_eq!(text(0), "1970-01-01T00:00:00.000Z");
        assert_eq!(text(951_782_399_999), "2000-02-28T23:59:59.999Z");
        assert_eq!(text(951_782_400_000), "2000-02-29T00:00:00.000Z");
        assert_eq!(text(951_868_800_000), "2000-03-01T00:00:00.000Z");
        assert_eq!(text(1_000_000_000_000), "2001-09-09T01:46:40.000Z");
        assert_eq!(text(4_107_542_400_000), "2100-03-01T00:00:00.000Z");
    }

    #[test]
    fn a_moment_comes_back_from_its_text() {
        for told in [
            0,
            999,
            951_782_399_999,
            951_782_400_000,
            4_107_542_400_000,
            253_402_300_799_999,
        ] {
            assert_eq!(ms(&text(told)), Some(told));
        }
        for (i, day) in (0..60_000).enumerate() {
            let told = day * 86_400_000 + i as u64;
            assert_eq!(ms(&text(told)), Some(told));
        }
    }

    #[test]
    fn a_text_of_another_kind_is_no_moment() {
        for no in [
            "",
            "yesterday",
            "2000-02-30T00:00:00.000Z",
            "2000-13-01T00:00:00.000Z",
            "2000-01-01T24:00:00.000Z",
            "2000-01-01T00:00:00.000+01:00",
            "2000-01-01T00:00:00.00\u{e9}Z",
            "0000-01-01T00:00:00.000Z",
        ] {
            assert_eq!(ms(no), None, "{no}");
        }
    }

    #[test]
    fn days_follow_each_other_over_four_hundred_years() {
        let mut last = (1969, 12, 31);
        for days in 0..146_097 {
            let now = civil(days);
            let (y, m, d) = now;
            let next_day = (y, m, d) == (last.0, last.1, last.2 + 1);
            let next_month = d == 1 && last.2 >= 28 && (y, m) == (last.0, last.1 + 1);
            let next_year = (m, d) == (1, 1) && (last.1, last.2) == (12, 31) && y == last.0 + 1;
            assert!(next_day || next_month || next_year, "{last:?} then {now:?}");
            last = now;
        }
        assert_eq!(last, (2369, 12, 31));
    }
}
