"""Report: what is told of a drop or a campaign, as one HTML page and on paper."""
