"""The public names, and where each lives: `etholog/__init__.py` imports one when it is first used."""

from . import figures as figures
from .analysis.agreement import Agreement as Agreement
from .analysis.agreement import agreement as agreement
from .analysis.balance import balance as balance
from .analysis.bout import Criterion as Criterion
from .analysis.bout import criterion as criterion
from .analysis.bout import pauses as pauses
from .analysis.chain import chain_homogeneity as chain_homogeneity
from .analysis.chain import chain_order as chain_order
from .analysis.compare import Comparison as Comparison
from .analysis.compare import compare as compare
from .analysis.duration import budget as budget
from .analysis.duration import duration as duration
from .analysis.hazard import Hazards as Hazards
from .analysis.hazard import hazards as hazards
from .analysis.incidence import ended as ended
from .analysis.incidence import incidence as incidence
from .analysis.latency import latency as latency
from .analysis.outcome import evening as evening
from .analysis.outcome import funnel as funnel
from .analysis.outcome import outcomes as outcomes
from .analysis.outcome import time_to_sac as time_to_sac
from .analysis.power import power as power
from .analysis.power import schoenfeld as schoenfeld
from .analysis.practice import Practice as Practice
from .analysis.practice import practice as practice
from .analysis.proportional import proportional as proportional
from .analysis.sensitivity import sensitivity as sensitivity
from .analysis.repeatability import Repeatability as Repeatability
from .analysis.repeatability import mixed as mixed
from .analysis.repeatability import repeatability as repeatability
from .analysis.rivals import rivals as rivals
from .analysis.sign import signs as signs
from .analysis.sign import signs_seen as signs_seen
from .analysis.transition import Transitions as Transitions
from .analysis.transition import transition as transition
from .analysis.transition import transition_each as transition_each
from .analysis.transition import transitions as transitions
from .base.refusal import Finding as Finding
from .base.refusal import Refusal as Refusal
from .season.folder import Season as Season
from .season.folder import read as read

__version__: str
