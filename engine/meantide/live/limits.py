"""How many messages each sender may send: a bucket of tokens a sender, and a bounded table."""

from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass

MESSAGES_PER_S = 20_000.0
"""What a control process was measured to take without costing the sound a block."""
BURST = 20_000.0
"""The most that may come at once: a second's worth."""
MOST_SENDERS = 1024
"""More are forgotten, the longest silent first."""


@dataclass(slots=True)
class Bucket:
    """What a sender may still send; below 0 it waits."""

    tokens: float
    at_s: float
    told_s: float = -1e9
    """When it was last told that it sends too fast."""


class Limits:
    """The buckets of all senders. Times are seconds of any steady clock."""

    def __init__(self, per_s: float = MESSAGES_PER_S, burst: float = BURST) -> None:
        self._per_s, self._burst = per_s, burst
        self._buckets: OrderedDict[Hashable, Bucket] = OrderedDict()

    def bucket(self, sender: Hashable, now_s: float) -> Bucket:
        """Return a sender's bucket, filled up to now.

        One who pushes another out of the full table goes on with that one's bucket, so that new
        ports bring no new tokens.
        """
        bucket = self._buckets.get(sender)
        if bucket is None:
            full = len(self._buckets) >= MOST_SENDERS
            bucket = self._buckets.popitem(last=False)[1] if full else Bucket(self._burst, now_s)
            self._buckets[sender] = bucket
        else:
            self._buckets.move_to_end(sender)
        gained = max(now_s - bucket.at_s, 0.0) * self._per_s
        bucket.tokens = min(bucket.tokens + gained, self._burst)
        bucket.at_s = now_s
        return bucket

    def fits(self, cost: float) -> bool:
        """Tell whether a packet of that cost may ever be sent."""
        return cost <= self._burst
