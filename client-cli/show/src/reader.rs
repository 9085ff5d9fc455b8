//! The reader of a view.

use scionary_proto::v1;

use crate::units;

/// What a view depends on, apart from the replies that it shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reader {
    /// Shows feet, pounds and Fahrenheit in place of metric units.
    pub imperial: bool,
}

impl Reader {
    /// Returns a figure in the reader's units.
    pub fn figure(self, figure: &v1::Timing) -> v1::Timing {
        if self.imperial { units::timing(figure) } else { figure.clone() }
    }
    /// Returns the words of a finding, followed by its measurement in the reader's units.
    pub fn finding(self, finding: &v1::Finding) -> String {
        match finding.quantity.as_ref().filter(|_| self.imperial).and_then(units::quantity) {
            Some(text) => format!("{} (that is {text})", finding.text),
            None => finding.text.clone(),
        }
    }
}
