"""A campaign: its campaign.toml, calibrations, proofs, ledger and checklist."""
