"""How good the judgement is: simulated cases with truth, verdicts compared with it, figures."""
