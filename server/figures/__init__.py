"""One function per plot: a result in, a Plotly figure out."""
