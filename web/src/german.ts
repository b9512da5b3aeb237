export const german: Record<string, string> = {};
