/** How many senders, requests and queriers one look of one agent lists; what is beyond is counted. */
export const MOST_SIGHT_FLOWS = 2048;
export const MOST_SIGHT_ASKS = 2048;
export const MOST_SIGHT_QUERIERS = 64;
