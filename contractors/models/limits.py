"""What is counted of requests, whoever's they are."""

from django.db import models


class Allowance(models.Model):
    """How far somebody has used up what they may ask for.

    It stands outside the row policies, since who asks is not known yet when it is counted: `key` is
    a hash of what is limited and of whom, `whole_at` the moment, in seconds since 1970, from when
    nothing is used up any more.
    """

    key = models.CharField(max_length=64, primary_key=True)
    whole_at = models.FloatField()

    def __str__(self) -> str:
        return self.key
