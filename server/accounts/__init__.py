"""Who may come in and what they may do: accounts, sign-ins, invitations, tokens of programs."""
