//! Works out the arithmetic of a hand calculation: numbers, `pi`, `+ - * / ^`, brackets, `sqrt`, `ln`,
//! `min`. A hand calculation that is only text could say anything.

/// The value of an expression such as `0.24 + 1.28*13*(4.61 + 4.61)/1000`.
///
/// # Errors
///
/// Says what was expected, and where.
pub fn work_out(text: &str) -> Result<f64, String> {
    let signs: Vec<char> = text.chars().filter(|c| !c.is_whitespace()).collect();
    let mut reader = Reader { signs, at: 0 };
    let value = reader.sum()?;
    if reader.at < reader.signs.len() {
        return Err(format!("`{}` is left over", reader.rest()));
    }
    Ok(value)
}

struct Reader {
    signs: Vec<char>,
    at: usize,
}

impl Reader {
    fn rest(&self) -> String {
        self.signs[self.at..].iter().collect()
    }

    fn take(&mut self, c: char) -> bool {
        let there = self.signs.get(self.at) == Some(&c);
        self.at += usize::from(there);
        there
    }

    fn while_true(&mut self, keep: impl Fn(char) -> bool) -> String {
        let from = self.at;
        while self.signs.get(self.at).is_some_and(|c| keep(*c)) {
            self.at += 1;
        }
        self.signs[from..self.at].iter().collect()
    }

    fn sum(&mut self) -> Result<f64, String> {
        let mut value = self.product()?;
        loop {
            if self.take('+') {
                value += self.product()?;
            } else if self.take('-') {
                value -= self.product()?;
            } else {
                return Ok(value);
            }
        }
    }

    fn product(&mut self) -> Result<f64, String> {
        let mut value = self.power()?;
        loop {
            if self.take('*') {
                value *= self.power()?;
            } else if self.take('/') {
                value /= self.power()?;
            } else {
                return Ok(value);
            }
        }
    }

    fn power(&mut self) -> Result<f64, String> {
        let base = self.one()?;
        if self.take('^') {
            return Ok(base.powf(self.power()?));
        }
        Ok(base)
    }

    fn one(&mut self) -> Result<f64, String> {
        if self.take('(') {
            let value = self.sum()?;
            return self.closed(value);
        }
        let name = self.while_true(|c| c.is_ascii_alphabetic());
        match name.as_str() {
            "" => {
                let digits = self.while_true(|c| c.is_ascii_digit() || c == '.');
                digits
                    .parse()
                    .map_err(|_| format!("a number is expected before `{}`", self.rest()))
            }
            "pi" => Ok(std::f64::consts::PI),
            _ => self.applied(&name),
        }
    }

    fn applied(&mut self, name: &str) -> Result<f64, String> {
        if !self.take('(') {
            return Err(format!("`{name}` needs a bracket"));
        }
        let first = self.sum()?;
        let value = match name {
            "sqrt" => first.sqrt(),
            "ln" => first.ln(),
            "min" if self.take(',') => first.min(self.sum()?),
            _ => return Err(format!("`{name}` is not known here")),
        };
        self.closed(value)
    }

    fn closed(&mut self, value: f64) -> Result<f64, String> {
        if self.take(')') {
            Ok(value)
        } else {
            Err(format!("a bracket is open before `{}`", self.rest()))
        }
    }
}

#[test]
fn arithmetic_comes_out_and_mistakes_are_told() {
    let near = |text: &str, want: f64| {
        let got = work_out(text).expect("it can be worked out");
        assert!((got - want).abs() < 1e-12, "{text} is {got}");
    };
    near("1 + 2*3 - 4/2", 5.0);
    near("2*(1 + 2)^2 - sqrt(16)", 14.0);
    near("ln(1) + min(3, 2) + 0*pi", 2.0);
    for text in ["", "1 +", "(1", "1 2 )", "cos(1)", "sqrt 4"] {
        assert!(work_out(text).is_err(), "{text}");
    }
}
