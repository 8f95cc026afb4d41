//! Calendar dates as day numbers.
//!
//! A date is the number of days since 1970-01-01 in the proleptic Gregorian calendar, so that
//! dates are subtracted and compared as integers. The conversion counts in eras of 400 years
//! (146,097 days) that begin on 1 March.

use std::fmt;

/// What is wrong with a date.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DateError {
    /// It is not written year-month-day with four, two and two digits.
    Form,
    /// There is no such month.
    Month(u32),
    /// The month has no such day.
    Day {
        /// The day as written.
        day: u32,
        /// How many days the month has.
        last: u32,
    },
}

impl fmt::Display for DateError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Form => f.write_str("a date is written year-month-day, as in `2026-11-02`"),
            Self::Month(month) => write!(f, "there is no month {month}"),
            Self::Day { day, last } => {
                write!(
                    f,
                    "there is no day {day} in that month, which has {last} days"
                )
            }
        }
    }
}

impl std::error::Error for DateError {}

/// The number of days in a month (1 to 12); 0 for any other month.
#[must_use]
pub const fn days_in_month(year: i32, month: u32) -> u32 {
    match month {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 if year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) => 29,
        2 => 28,
        _ => 0,
    }
}

/// The day number of a date; `None` if there is no such date or the year is beyond ± 999,999.
#[must_use]
pub fn days_from_civil(year: i32, month: u32, day: u32) -> Option<i32> {
    if day == 0 || day > days_in_month(year, month) || year.unsigned_abs() > 999_999 {
        return None;
    }
    let year = i64::from(year) - i64::from(month <= 2);
    let era = year.div_euclid(400);
    let year_of_era = year.rem_euclid(400);
    let month_from_march = i64::from((month + 9) % 12);
    let day_of_year = (153 * month_from_march + 2) / 5 + i64::from(day) - 1;
    let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    i32::try_from(era * 146_097 + day_of_era - 719_468).ok()
}

/// The year, month and day of a day number.
#[must_use]
pub fn civil_from_days(days: i32) -> (i32, u32, u32) {
    let shifted = i64::from(days) + 719_468;
    let era = shifted.div_euclid(146_097);
    let day_of_era = shifted.rem_euclid(146_097);
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = if month_from_march < 10 {
        month_from_march + 3
    } else {
        month_from_march - 9
    };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    // All three fit: an i32 of days is less than six million years.
    (year as i32, month as u32, day as u32)
}

/// Reads a date written exactly as `2026-11-02`.
///
/// # Errors
/// Says whether the form is wrong or there is no such day.
pub fn parse_date(text: &str) -> Result<i32, DateError> {
    let &[y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2] = text.as_bytes() else {
        return Err(DateError::Form);
    };
    let number = |digits: &[u8]| {
        digits.iter().try_fold(0_u32, |n, digit| match digit {
            b'0'..=b'9' => Ok(n * 10 + u32::from(digit - b'0')),
            _ => Err(DateError::Form),
        })
    };
    let year = number(&[y1, y2, y3, y4])?.cast_signed();
    let (month, day) = (number(&[m1, m2])?, number(&[d1, d2])?);
    let last = days_in_month(year, month);
    if last == 0 {
        return Err(DateError::Month(month));
    }
    days_from_civil(year, month, day).ok_or(DateError::Day { day, last })
}

/// A day number as `2026-11-02`.
#[must_use]
pub fn format_date(days: i32) -> String {
    let (year, month, day) = civil_from_days(days);
    format!("{year:04}-{month:02}-{day:02}")
}
