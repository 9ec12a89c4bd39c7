"""The screens of the keeper's desk: what is due, the last sessions, the cards."""
