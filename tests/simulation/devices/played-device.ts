import { createSocket, type RemoteInfo } from "node:dgram";
import { once } from "node:events";
import { type Bytes, elements, integer, numberIn, octetString, oid, oidIn, sequence } from "./ber.ts";

/** An object and its value, encoded. */
export interface PlayedObject {
  readonly oid: string;
  readonly value: Bytes;
}

/** A question of SNMPv2c, taken apart (RFC 3416, section 3; RFC 1901). */
export interface PlayedQuestion {
  readonly version: number;
  readonly community: string;
  readonly requestId: number;
  readonly isBulk: boolean;
  readonly maxRepetitions: number;
  readonly oids: readonly string[];
  /** The whole datagram. */
  readonly bytes: Bytes;
}

export interface PlayedDevice extends AsyncDisposable {
  readonly port: number;
  /** Questions that came. */
  readonly questions: readonly PlayedQuestion[];
}

/** What comes too late, once the device is gone, goes nowhere. */
export type Reply = (bytes: Bytes) => void;
export type Behaviour = (question: PlayedQuestion, reply: Reply, from: RemoteInfo) => void;

/** A device of SNMPv2c on loopback that behaves as it is told to, well or badly. */
export async function playDevice(behave: Behaviour): Promise<PlayedDevice> {
  const socket = createSocket("udp4");
  const questions: PlayedQuestion[] = [];
  let isOpen = true;
  socket.on("message", (bytes, from) => {
    const question = takeApart([...bytes]);
    questions.push(question);
    behave(
      question,
      (answer) => isOpen && socket.send(Uint8Array.from(answer), from.port, from.address, () => {}),
      from,
    );
  });
  socket.bind(0, "127.0.0.1");
  await once(socket, "listening");
  return {
    port: socket.address().port,
    questions,
    [Symbol.asyncDispose]: async () => {
      isOpen = false;
      socket.close();
      await once(socket, "close");
    },
  };
}

function takeApart(bytes: Bytes): PlayedQuestion {
  const [whole] = elements(bytes);
  const [version, community, pdu] = elements(whole?.content ?? []);
  const nothing = { tag: 0, content: [] };
  if (numberIn(version ?? nothing) === 3) return takeApartV3(bytes, elements(community?.content ?? []));
  const [id, , repetitions, list] = elements(pdu?.content ?? []);
  return {
    version: numberIn(version ?? nothing),
    community: String.fromCharCode(...(community?.content ?? [])),
    requestId: numberIn(id ?? nothing),
    isBulk: pdu?.tag === 0xa5,
    maxRepetitions: numberIn(repetitions ?? nothing),
    oids: elements(list?.content ?? []).map(({ content }) => oidIn(elements(content)[0] ?? nothing)),
    bytes,
  };
}

/** Of version 3 only what the header says: the rest is encrypted. */
const takeApartV3 = (
  bytes: Bytes,
  [id]: readonly { readonly tag: number; readonly content: Bytes }[],
): PlayedQuestion => ({
  version: 3,
  community: "",
  requestId: id === undefined ? 0 : numberIn(id),
  isBulk: false,
  maxRepetitions: 0,
  oids: [],
  bytes,
});

const END_OF_VIEW = [0x82, 0];
const NO_SUCH_INSTANCE = [0x81, 0];

/** @param status RFC 3416, section 3: 0 is no error */
export const responseTo = (
  { version, community, requestId }: PlayedQuestion,
  objects: readonly PlayedObject[],
  status = 0,
): number[] =>
  sequence(integer(version), octetString(community), [
    ...pdu(0xa2, [
      ...integer(requestId),
      ...integer(status),
      ...integer(0),
      ...sequence(...objects.map((object) => sequence(oid(object.oid), object.value))),
    ]),
  ]);

const pdu = (tag: number, content: Bytes): number[] => {
  const [, ...rest] = sequence(content);
  return [tag, ...rest];
};

/** Answers Get and GetBulk from a table, as RFC 3416 says. @param objects in the order of their identifiers */
export function answerFrom(objects: readonly PlayedObject[]): (question: PlayedQuestion) => number[] {
  const sorted = objects.map((object) => ({ ...object, arcs: object.oid.split(".").map(Number) }));
  sorted.sort((one, other) => compare(one.arcs, other.arcs));
  return (question) => {
    if (!question.isBulk) {
      const found = question.oids.map((asked) => ({
        oid: asked,
        value: objects.find((object) => object.oid === asked)?.value ?? NO_SUCH_INSTANCE,
      }));
      return responseTo(question, found);
    }
    const last = question.oids.map((text) => ({ oid: text, arcs: text.split(".").map(Number) }));
    const answer: PlayedObject[] = [];
    for (let round = 0; round < question.maxRepetitions; round++) {
      for (const [index, { oid: asked, arcs }] of last.entries()) {
        const next = sorted.find((object) => compare(object.arcs, arcs) > 0);
        answer.push(next ?? { oid: asked, value: END_OF_VIEW });
        if (next !== undefined) last[index] = next;
      }
    }
    return responseTo(question, answer);
  };
}

function compare(one: readonly number[], other: readonly number[]): number {
  for (const [index, arc] of one.entries()) {
    const difference = arc - (other[index] ?? -1);
    if (difference !== 0) return difference;
  }
  return one.length - other.length;
}
