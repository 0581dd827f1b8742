/** What a change of firmware may bring, each at three places of the demo's site, and the scenarios that can show it. */
export const CHANGES = [
  {
    name: "0.1 % loss",
    scenarios: ["reach", "containment", "size-steps", "join-and-leave"],
    places: ["core:1>pier-east:24", "pier-west:1>board-1:eth0", "core:3>hall:24"].map((at) => ({
      at,
      faults: [`drop, on: '${at}', share: 0.1 %`],
    })),
  },
  {
    // Reports to all IGMPv3 routers (RFC 3376, section 4.2.14) are held on their way to the core, which opens its port later.
    name: "10 ms more of join delay",
    scenarios: ["join-and-leave"],
    places: ["pier-east:24>core:1", "pier-west:24>core:2", "hall:24>core:3"].map((at) => ({
      at,
      faults: [`reorder, on: '${at}', group: 224.0.0.22, every: 1, delay: 10ms`],
    })),
  },
  {
    // A port is closed by whichever comes first: the querier's specific queries running out, or the switch's own timer.
    name: "1 s more of leave delay",
    scenarios: ["join-and-leave"],
    places: ["pier-east", "pier-west", "hall"].map((at) => ({
      at,
      faults: [
        "querier-timers, on: core, last-member-interval: 1.5s",
        `querier-timers, on: ${at}, last-member-interval: 1.5s`,
      ],
    })),
  },
  {
    name: "one leak",
    scenarios: ["containment"],
    places: ["pier-east:1", "pier-west:1", "hall:5"].map((at) => ({
      at,
      faults: [`static-entry, on: '${at}', group: 239.195.10.4`],
    })),
  },
  {
    name: "one missing group",
    scenarios: ["many-groups"],
    places: [
      ["core:1>pier-east:24", "239.195.20.17"],
      ["pier-west:2>board-2:eth0", "239.195.20.33"],
      ["core:3>hall:24", "239.195.20.50"],
    ].map(([at, group]) => ({ at, faults: [`drop, on: '${at}', share: 100 %, group: ${group}`] })),
  },
];
