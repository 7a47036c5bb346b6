"""The unattended part: arrivals, spool, workers, ledger, and the loop that ties them."""
