"""How probes get in and verdicts get out over MQTT.

The door: `packets` → `decoding`/`encoding` → `session` (pure) → `connection` → `door` (asyncio).
The other way in, somebody's broker: `broker`. Both speak the topics of `outward`, both confirm
with `confirm`, both hand messages to an `intake.Intake` and acknowledge after its commit.
"""
