"""Parameters, bands, methods and the readings taken on an installation."""
