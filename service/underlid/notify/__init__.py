"""Takes messages out of the outbox and hands them to e-mail, webhook and other channels."""
