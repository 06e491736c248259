//! One variant per stage. The message says what is wrong and what to do next.

use crate::options::OptionsError;

/// Why nothing was measured.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    Options(#[from] OptionsError),
}

impl Error {
    /// 2 for wrong arguments, 1 when the swing could not be measured.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Options(_) => 2,
        }
    }
}
