"""The help: served by the product itself, there is no internet at a track."""
