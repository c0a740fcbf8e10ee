"""The invented demo farm: recipes with known truth, a seeded simulation, planted mistakes, and the files."""

from pipeline.demo.bench import write_bench
from pipeline.demo.recipes import LAST_DAY
from pipeline.demo.write import write_demo

__all__ = ["LAST_DAY", "write_bench", "write_demo"]
