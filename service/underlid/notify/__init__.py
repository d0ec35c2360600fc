"""From the outbox to e-mail, webhook and other channels."""
