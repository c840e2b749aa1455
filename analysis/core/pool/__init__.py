"""What tested fastest, over all riders: arms of studies pooled into standings of products."""

from analysis.core.pool.arms import Arms, PoolRefused, arms_of
from analysis.core.pool.standings import ProductStanding, Standings, pool, standings_document

__all__ = ["Arms", "PoolRefused", "ProductStanding", "Standings", "arms_of", "pool", "standings_document"]
