"""An independent re-check of a plan. Imports neither schedule nor the search in roads."""
