"""Hazard classes of a paint from those of its components: screening by calculation, in the schemes of the UN, the EU and the US."""
