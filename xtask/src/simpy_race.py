"""The same one-box pen in SimPy; prints version, seconds, visits, milkings, turned away, wait, idle."""
import json
import math
import random
import sys
import time

import simpy

pen = json.loads(sys.argv[1])
rng = random.Random(7)
since, hour = pen["since"], pen["hour"]
END = 1440.0 * pen["days"]
WARM = 1440.0 * pen["warm_up"]


def factor(cv):
    sigma = math.sqrt(math.log(1 + cv * cv))
    return rng.lognormvariate(-sigma * sigma / 2, sigma)


class Count:
    visits = milkings = turned = 0
    waited = busy = 0.0


def coming_after(cow, now, last):
    need = rng.expovariate(1.0) / cow["frailty"]
    half = int(now / 30)
    start, end = now, (half + 1) * 30.0
    while True:
        s = int((0.5 * (start + end) - last) * cow["pace"] / 30)
        rate = since[min(s, len(since) - 1)] * hour[half % 48] / 60
        if need <= rate * (end - start):
            return start + need / rate - now
        need -= rate * (end - start)
        start, end, half = end, end + 30.0, half + 1


def life(env, cow, box):
    last = -480.0 * rng.random()
    while True:
        yield env.timeout(coming_after(cow, env.now, last))
        joined = env.now
        with box.request() as turn:
            got = yield turn | env.timeout(rng.expovariate(1 / pen["patience"]))
            if turn not in got:
                continue
            now = env.now
            counts = now >= WARM
            hours = (now - last) / 60
            if hours < cow["minimum_h"]:
                minutes = pen["turned_away_min"]
                Count.turned += counts
            elif rng.random() < pen["failed_share"]:
                minutes = pen["failed_min"] * factor(pen["failed_cv"])
            else:
                kg = cow["rate"] * -math.expm1(-cow["kappa"] * hours) / cow["kappa"] * factor(pen["milk_cv"])
                minutes = pen["handling_min"] * factor(pen["handling_cv"]) + kg / cow["flow"] * factor(pen["flow_cv"])
                last = now
                Count.milkings += counts
            if counts:
                Count.visits += 1
                Count.waited += now - joined
                Count.busy += min(minutes, END - now)
            yield env.timeout(minutes)


begun = time.perf_counter()
env = simpy.Environment()
box = simpy.Resource(env, capacity=1)
for cow in pen["cows"]:
    env.process(life(env, cow, box))
env.run(until=END)
taken = time.perf_counter() - begun
days = pen["days"] - pen["warm_up"]
cow_days = days * len(pen["cows"])
print(simpy.__version__, taken, Count.visits, Count.milkings / cow_days, Count.turned / cow_days,
      Count.waited / Count.visits, 1 - Count.busy / (1440 * days))
