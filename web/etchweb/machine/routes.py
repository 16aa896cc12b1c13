"""The addresses of *Machine*, of all machines, and of the paired phones."""

from flask import Flask

from etchweb.machine import machines, phones, views


def register(app: Flask) -> None:
    """Give `app` these pages."""
    for views_of in (machines, phones, views):
        app.register_blueprint(views_of.pages)
