package store

const killedDirEnv = "WARMHAND_TEST_KILLED_DIR"

func writeUntilKilled(string) {}
