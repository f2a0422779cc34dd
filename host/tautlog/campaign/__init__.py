"""A campaign: campaign.toml, calibrations, proofs, ledger and checklists."""
