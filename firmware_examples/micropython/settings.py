"""What differs from probe to probe. The secret is shown on the probes page of the service."""

WIFI = "allotment"
WIFI_SECRET = "…"

HOST = "192.168.1.10"  # the computer that runs Underlid
PORT = 1883
USER = "probes"  # or the probe's own id with a secret of its own
SECRET = "…"

SHED = "potting"
PROBE = "tansy-1"  # a-z, 0-9, - and _
EVERY_S = 600

CONFIRM = False  # True behind a broker that is not Underlid's own door
