"""How a channel of a probe can fail, one file a family. `binmodel.trust` asks them all."""
