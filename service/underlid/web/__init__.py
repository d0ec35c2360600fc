"""The pages and the HTTP interface.

`app.py` puts everything together: read it first. `context.py` says what the pages need from the
rest of the service, `pages/` holds the HTML pages, `api/` the JSON interface, `static/` the style
sheet and the scripts, `server.py` runs it all inside the service's own loop.
"""
