"""The HTML pages, one file a subject; every form here is a plain POST."""

from underlid.web.pages import (
    alerts,
    bin,
    bucket,
    calibration,
    entrance,
    journal,
    look_back,
    mappings,
    people,
    photos,
    places,
    probes,
    refused,
    shed,
    told,
    wall,
)

ROUTERS = (
    entrance.router,
    shed.router,
    bin.router,
    bucket.router,
    look_back.router,
    wall.router,
    journal.router,
    photos.router,
    alerts.router,
    refused.router,
    mappings.router,
    calibration.router,
    probes.router,
    places.router,
    people.router,
    told.router,
)
