export { ThermalBand } from './band';
export { Button, Field, Notice } from './controls';
export { Icon, type IconName } from './icons';
export { Standing } from './standing';
export { Thread } from './thread';
export { TimeLine } from './timeline';
