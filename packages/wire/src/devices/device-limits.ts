/**
 * The most rows of one table that are kept of a device. A table that is longer is cut, and the reading says so: a table that was
 * cut proves nothing by what is not in it.
 */
export const MOST_DEVICE_PORTS = 1024;
export const MOST_DEVICE_NEIGHBOURS = 2048;
export const MOST_DEVICE_ADDRESSES = 16_384;
export const MOST_DEVICE_GROUPS = 8192;
export const MOST_DEVICE_VLANS = 4094;
