//! Targets of a query: the readers' pool, or the transaction of a write. Queries take `&dyn Source`, so that
//! the compiler generates each only once.

use sea_orm::{DatabaseConnection, DatabaseExecutor};

use crate::door::Tx;

/// The readers' pool.
#[derive(Clone, Debug)]
pub struct Reader(pub(crate) DatabaseConnection);

mod sealed {
    pub trait Sealed {}
    impl Sealed for super::Reader {}
    impl Sealed for super::Tx {}
}

/// A [`Reader`] or a [`Tx`]; no other type can implement it.
pub trait Source: sealed::Sealed + Sync {
    /// Returns the executor for a query of this crate.
    fn inner(&self) -> DatabaseExecutor<'_>;
}

impl Source for Reader {
    fn inner(&self) -> DatabaseExecutor<'_> {
        (&self.0).into()
    }
}
impl Source for Tx {
    fn inner(&self) -> DatabaseExecutor<'_> {
        (&self.0).into()
    }
}
