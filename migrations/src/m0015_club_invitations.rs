//! Stores club invitations by the typed handle, so that the answer does not show whether an account has it.

use sea_orm_migration::prelude::*;

use crate::{col, drop_tables, index, reference, table};

pub(crate) struct Step;

impl MigrationName for Step {
    fn name(&self) -> &'static str {
        "m0015_club_invitations"
    }
}

#[async_trait::async_trait]
impl MigrationTrait for Step {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .create_table(
                table(
                    "club_invitation",
                    vec![
                        col::id("club_id"),
                        // Lower case; an account with this handle need not exist.
                        col::text("handle_key"),
                        col::text("words"),
                        col::id("invited_by"),
                        col::number("since"),
                    ],
                )
                .primary_key(Index::create().col(Alias::new("club_id")).col(Alias::new("handle_key")))
                .foreign_key(&mut reference("club_invitation", "club_id", "club"))
                .foreign_key(&mut reference("club_invitation", "invited_by", "account"))
                .to_owned(),
            )
            .await?;
        index(manager, "club_invitation", &["handle_key"], false).await?;
        // Moves open invitations over. The old table did not store the inviter, so the organiser with the
        // lowest id stands in.
        manager
            .get_connection()
            .execute_unprepared(
                "INSERT INTO club_invitation (club_id, handle_key, words, invited_by, since) \
                 SELECT m.club_id, a.handle_key, m.words, o.account_id, m.since \
                 FROM club_member m JOIN account a ON a.id = m.account_id \
                 JOIN club_member o ON o.club_id = m.club_id AND o.standing = 'organiser' \
                     AND NOT EXISTS (SELECT 1 FROM club_member e WHERE e.club_id = o.club_id \
                         AND e.standing = 'organiser' AND e.account_id < o.account_id) \
                 WHERE m.standing = 'invited'",
            )
            .await?;
        manager
            .get_connection()
            .execute_unprepared("DELETE FROM club_member WHERE standing = 'invited'")
            .await?;
        Ok(())
    }
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, &["club_invitation"]).await
    }
}
