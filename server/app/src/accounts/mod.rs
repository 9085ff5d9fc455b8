//! Accounts: making them, signing in and out, inviting, roles.

mod blocks;
mod invitations;
mod password;
mod roles;
mod session;
mod sign_up;
mod standing;

pub use blocks::{BlockMember, Blocked, UnblockMember};
pub use invitations::{CreateInvitation, Invited, RevokeInvitation};
pub use password::{ChangePassword, PasswordHash};
pub use roles::{ChangeRole, RoleChange};
pub use session::{SignOut, SignedIn};
pub use sign_up::SignUp;
pub use standing::{ChangeStanding, StandingChange};
