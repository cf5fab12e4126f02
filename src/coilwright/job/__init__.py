"""The job file: part, surroundings, work coil, drive and acceptance in one TOML text."""

from coilwright.job.edit import set_value
from coilwright.job.model import Job
from coilwright.job.read import load, loads
from coilwright.job.starting import TEMPLATES, template

__all__ = ["TEMPLATES", "Job", "load", "loads", "set_value", "template"]
