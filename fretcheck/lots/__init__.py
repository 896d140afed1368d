"""Many necks: sampling, charts, capability, gauge study, template errors."""
