import type { Store } from "./store.ts";

/** What is read or written there. @throws {Fault} a failure of the store in the operator's terms */
export async function stored<T>(store: Store, work: () => Promise<T>): Promise<T> {
  try {
    return await work();
  } catch (error) {
    throw store.fault(error);
  }
}
